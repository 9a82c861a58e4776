// The plant and the independent solver on the same parameters, edges and instants.
#pragma once

#include <string>
#include <vector>

#include "tests/reference/cvode/model/changes.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {

/// One experiment, fully stated: both sides read nothing else.
struct Experiment {
  plant::DriveParameters parameters;
  std::optional<SoftIron> iron;  // what the machine's flux map is a table of
  double start_omega_m_rad_s = 0.0, start_theta_e_rad = 0.0;
  bool speed_held = true;
  double held_acceleration_rad_s2 = 0.0;
  double load_Nm = 0.0;
  double load_Nm_per_s = 0.0, supply_V_per_s = 0.0;
  Road road;
  double ripple_V = 0.0, ripple_Hz = 0.0;  // of the supply
  int open_leg = -1;                       // -1: none
  std::vector<GateEdge> edges;
  std::vector<Change> changes;          // in the order of time
  std::vector<std::int64_t> sample_ps;  // increasing
};

struct Disagreement {
  // Largest; speeds of both sides of a coupling.
  double current_A = 0.0, bus_V = 0.0, omega_m_rad_s = 0.0, theta_e_rad = 0.0;
  double at_s = 0.0;                                    // of the largest current difference
  double peak_current_A = 0.0, peak_omega_rad_s = 0.0;  // of the reference
  long events = 0;  // conduction changes of the reference between edges
};

Disagreement compare(const Experiment&, CvodeTolerance = {});
/// The reference on another experiment that differs in no moment: to see a difference.
Disagreement compare(const Experiment&, const Experiment& of_reference, CvodeTolerance = {});

/// Either side at the experiment's start.
plant::Drive start_plant(const Experiment&);
AbcState start_state(const Experiment&);
AbcInputs start_inputs(const Experiment&);

}  // namespace stillrotor::reference
