// The protection board of a battery pack: over- and under-voltage, over-current out of and into the
// pack; each opens the path, for either direction.
// It samples: at each sample it sees the mean current since the one before and the pack's terminal
// voltage at that current. A check trips at the first sample that is `delay` or more behind the
// first one which saw the violation, so it trips delay to delay + 2 sample times after the onset.
// Voltages release at the sample that sees the open pack beyond `release`; currents `retry` after
// they tripped, or never (0).
// Units V, A, s.  Sign discharge positive.
// RT: safe. O(1).
#pragma once

#include <cstdint>

namespace stillrotor::plant {

struct ProtectionParameters {
  bool fitted = false;
  double sample_time_s = 1e-3;  // 10 us to 1 s
  struct VoltageCheck {
    double trip_V, release_V, delay_s;
  };
  struct CurrentCheck {
    double trip_A, delay_s;
  };
  VoltageCheck over_voltage{1e9, 1e9, 0.0};            // release at or below trip
  VoltageCheck under_voltage{-1e9, -1e9, 0.0};         // release at or above trip
  CurrentCheck discharge{1e9, 0.0}, charge{1e9, 0.0};  // both limits positive
  double retry_s = 0.0;                                // over-current: 0 stays open
};

struct ProtectionState {
  static constexpr int checks = 4;  // over-voltage, under-voltage, discharge, charge
  static constexpr std::int64_t never = INT64_MAX;
  std::int64_t next_sample_ps = never;
  std::int64_t since_ps[checks] = {never, never, never, never};  // violated, or tripped
  double sample_start_C = 0.0;                                   // drawn by then
  std::uint8_t tripped = 0;                                      // bit k: check k
};

/// One sample at now_ps.
void sample(const ProtectionParameters&, ProtectionState&, std::int64_t now_ps, double pack_V,
            double current_A) noexcept;

}  // namespace stillrotor::plant
