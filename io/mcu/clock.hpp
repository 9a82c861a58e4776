// Cycles of the processor clock and picoseconds, by an exact integer ratio.
//
// Valid  clocks whose period is a whole number of picoseconds: 1, 8, 10, 16, 20 MHz, not 12 MHz.
// RT     pure arithmetic.
#pragma once

#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {

using Cycle = std::uint64_t;  // since arm()

class Clock {
 public:
  explicit constexpr Clock(std::int64_t picoseconds_per_cycle) noexcept
      : period_ps_(picoseconds_per_cycle) {}

  constexpr Time time(Cycle cycle) const noexcept {
    return Time{static_cast<std::int64_t>(cycle) * period_ps_};
  }
  /// First clock edge at or after `at`; 0 for a time before arm().
  constexpr Cycle at_or_after(Time at) const noexcept {
    return at.count() <= 0 ? 0 : static_cast<Cycle>((at.count() - 1) / period_ps_ + 1);
  }
  /// The clock edge at which the PIN register takes over a level that changes on the wire at `at`.
  /// A latch is open while the clock is high, a flip-flop takes its output at the next rising edge:
  /// half to one and a half cycles (datasheet, Reading the Pin Value).
  constexpr Cycle synchronised(Time at) const noexcept {
    const std::int64_t ps = at.count() < 0 ? 0 : at.count();
    const bool clock_is_low = 2 * (ps % period_ps_) >= period_ps_;
    return static_cast<Cycle>(ps / period_ps_) + (clock_is_low ? 2 : 1);
  }

 private:
  std::int64_t period_ps_;
};

}  // namespace stillrotor::io::mcu
