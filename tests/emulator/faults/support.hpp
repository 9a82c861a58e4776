// What the tests of faults share.
#pragma once

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {

/// Options as the fault orders them, SI or the place of a word.
inline Action broken(std::int64_t at_ps, const Fault& which, const FaultSettings& settings = {},
                     bool cleared = false) {
  Action a = fault_action(which, settings, cleared);
  a.at_ps = at_ps;
  return a;
}

/// A shaft that keeps its speed.
inline Bench turning_bench() {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e6;
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  return bench;
}

inline Scenario turning(double speed_rad_s, std::int64_t lasts_ps, std::vector<Action> timeline) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.start.speed_rad_s = speed_rad_s;
  scenario.timeline = std::move(timeline);
  return scenario;
}

inline float at(const KeepingSink& sink, std::int64_t t_ps, Signal signal) {
  for (const Frame& frame : sink.frames)
    if (frame.at_ps == t_ps) return frame.value[static_cast<std::size_t>(signal)];
  return -1e9F;
}

}  // namespace stillrotor::test
