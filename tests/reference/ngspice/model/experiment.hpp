// What both sides of a comparison with ngspice are told, and how finely ngspice is to solve it.
// Units SI; gate edges in picoseconds.
#pragma once

#include <vector>

#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {

/// One experiment, fully stated. Only what the netlist can say: L_d = L_q, a battery of constant
/// voltage straight on the link, no cart, no open phase; a free rotor turns forward all the time.
struct SpiceExperiment {
  plant::DriveParameters parameters;
  double start_omega_m_rad_s = 0.0, start_theta_e_rad = 0.0;
  bool speed_held = true;  // at its start value
  double load_Nm = 0.0;    // free rotor only
  std::vector<GateEdge> edges;
  double lasts_s = 10e-3;
};

/// ngspice's accuracy, and where a circuit of finite slopes must stand in for exact switching.
struct SpiceAccuracy {
  double step_max_s = 200e-9;
  double relative = 1e-6;       // reltol
  double gate_ramp_s = 20e-12;  // a switch turns within this
  /// Across every switch and every winding's inductance. Without it a terminal that floats, and the
  /// star behind three inductances, have no potential that Newton's method could settle on.
  double leak_S = 1e-8;
  double knee_V = 0.0;  // width of the diodes' rounding; 0: two straight lines, as in the plant
};

}  // namespace stillrotor::reference
