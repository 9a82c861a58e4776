// The clock of everything that keeps time at real wires: CLOCK_MONOTONIC, or one that a test turns
// by hand.
#pragma once

#include <cstdint>

namespace stillrotor {

class CycleClock {
 public:
  virtual ~CycleClock() = default;
  virtual std::int64_t now_ns() noexcept = 0;
  /// Returns at once when that is past.
  virtual void sleep_until(std::int64_t ns) noexcept = 0;
};

}  // namespace stillrotor
