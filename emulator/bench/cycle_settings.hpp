// How a bench with a controller on real wires keeps time.
#pragma once

#include <array>
#include <optional>

namespace stillrotor {

/// Gates that come in as voltages behind RC filters.
struct FilteredGateSettings {
  bool complementary = false;  // UH, VH, WH only: the driver makes the complement
  double on_V = 5.0, off_V = 0.0;
  double tolerance = 0.01;  // so near to an end, of the swing, it is that end
  double filter_s = 0.0;    // the slowest of the filters

  bool operator==(const FilteredGateSettings&) const = default;
};

/// What is done about gate edges between wires and plant (emulator/gate_quality).
struct GateSettings {
  double overlap_tolerance_s = 0.0;  // overlaps up to this long only jitter can have made
  std::array<double, 6> skew_s{};    // by gate line: how much later than the others its stamps are
  bool averaged = false;             // shares of each PWM period in the place of edges
  std::optional<FilteredGateSettings> filtered{};  // there are no edges, but averages
};

struct CycleSettings {
  double period_s = 200e-6;
  double delay_s = 50e-6;  // of the plant behind the clock, for edges that take time to come in
  double lead_s = 0.0;     // position outputs show the rotor so long ahead of the plant
  double spin_s = 0.0;     // of each wait, kept awake
  int priority = 80;       // SCHED_FIFO
  int core = -1;           // -1: any
  int watchdog_periods = 10;
  GateSettings gates;
};

}  // namespace stillrotor
