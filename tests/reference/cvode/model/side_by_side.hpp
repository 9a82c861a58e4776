// The plant and the independent solver on the same parameters, edges and instants.
#pragma once

#include <string>
#include <vector>

#include "tests/reference/cvode/model/cvode_run.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {

/// One experiment, fully stated: both sides read nothing else.
struct Experiment {
  plant::DriveParameters parameters;
  double start_omega_m_rad_s = 0.0, start_theta_e_rad = 0.0;
  bool speed_held = true;
  double held_acceleration_rad_s2 = 0.0;
  double load_Nm = 0.0;
  int open_leg = -1;  // -1: none
  int cut_leg = -1;   // parts under current, at cut_ps
  std::int64_t cut_ps = 0;
  std::vector<GateEdge> edges;
  std::vector<std::int64_t> sample_ps;  // increasing
};

struct Disagreement {
  double current_A = 0.0, bus_V = 0.0, omega_m_rad_s = 0.0, theta_e_rad = 0.0;  // largest
  double at_s = 0.0;            // of the largest current difference
  double peak_current_A = 0.0;  // of the reference
  long events = 0;              // conduction changes of the reference between edges
};

Disagreement compare(const Experiment&, CvodeTolerance = {});

/// A plant at the experiment's start.
plant::Drive start_plant(const Experiment&);

}  // namespace stillrotor::reference
