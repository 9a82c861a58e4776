// The plant and the independent solver on the same parameters, edges and instants.
#pragma once

#include <string>
#include <vector>

#include "tests/reference/cvode/model/cvode_run.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {

/// What is done to the drive in a run, beside its gates.
struct Change {
  enum class Kind {
    cut,          // the leg's conductor parts under current
    part_supply,  // on: parted
    chopper,      // on
    joint,        // ohm, in the leg's winding
    short_turns,  // share of the leg's winding, ohm
    short_phases  // the leg's terminal to the next: ohm, henry
  };
  std::int64_t at_ps = 0;
  Kind kind = Kind::cut;
  int leg = 0;
  bool on = false;
  double ohm = 0.0, share = 0.0, henry = 0.0;
};

/// One experiment, fully stated: both sides read nothing else.
struct Experiment {
  plant::DriveParameters parameters;
  double start_omega_m_rad_s = 0.0, start_theta_e_rad = 0.0;
  bool speed_held = true;
  double held_acceleration_rad_s2 = 0.0;
  double load_Nm = 0.0;
  double load_Nm_per_s = 0.0, supply_V_per_s = 0.0;
  double ripple_V = 0.0, ripple_Hz = 0.0;  // of the supply
  int open_leg = -1;                       // -1: none
  std::vector<GateEdge> edges;
  std::vector<Change> changes;          // in the order of time
  std::vector<std::int64_t> sample_ps;  // increasing
};

struct Disagreement {
  // Largest; speeds of both sides of a coupling.
  double current_A = 0.0, bus_V = 0.0, omega_m_rad_s = 0.0, theta_e_rad = 0.0;
  double at_s = 0.0;            // of the largest current difference
  double peak_current_A = 0.0;  // of the reference
  long events = 0;              // conduction changes of the reference between edges
};

Disagreement compare(const Experiment&, CvodeTolerance = {});

/// A plant at the experiment's start.
plant::Drive start_plant(const Experiment&);
/// The same of the reference.
AbcState start_state(const Experiment&);
AbcInputs start_inputs(const Experiment&);
/// Makes a change that is due, on either side.
void make(const Change&, plant::Drive&);
void make(const Change&, CvodeRun&);

}  // namespace stillrotor::reference
