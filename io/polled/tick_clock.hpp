// The processor's cycle counter as a clock: a stamp costs one instruction, and CLOCK_MONOTONIC is
// followed by looking at both now and then.
//
// Needs   a counter that runs at one rate on all cores and in all sleep states (x86: invariant TSC;
//         aarch64: the generic timer). Elsewhere ticks are the nanoseconds of CLOCK_MONOTONIC.
#pragma once

#include <cstdint>
#if defined(__x86_64__)
#include <x86intrin.h>
#endif

#include "io/capture_thread.hpp"

namespace stillrotor::io {

/// After all loads before it. RT: safe.
inline std::uint64_t ticks() noexcept {
#if defined(__x86_64__)
  _mm_lfence();
  return __rdtsc();
#elif defined(__aarch64__)
  std::uint64_t count;
  asm volatile("dmb ld\n\tisb\n\tmrs %0, cntvct_el0" : "=r"(count)::"memory");
  return count;
#else
  return static_cast<std::uint64_t>(monotonic_ns());
#endif
}

class TickClock {
 public:
  /// Compares both clocks for a twentieth of a second.
  TickClock();

  std::int64_t ns(std::uint64_t at) const noexcept {
    return anchor_ns_ +
           static_cast<std::int64_t>(
               static_cast<double>(static_cast<std::int64_t>(at - anchor_ticks_)) * ns_per_tick_);
  }
  double ns_per_tick() const noexcept { return ns_per_tick_; }
  /// Looks at both clocks again, and follows the rate since the last good look; a look that was
  /// interrupted is left out. RT: safe; some 0.1 us.
  void look() noexcept;

 private:
  struct Both {
    std::uint64_t ticks, width;
    std::int64_t ns;
  };
  static Both both() noexcept;
  static Both best_of(int looks) noexcept;

  std::uint64_t anchor_ticks_ = 0, usual_width_ = 0;
  std::int64_t anchor_ns_ = 0;
  double ns_per_tick_ = 1.0;
};

}  // namespace stillrotor::io
