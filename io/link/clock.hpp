// The chip's counter as a clock of Linux: offset and drift from round trips of heartbeats.
//
// Method  a delay on the way can only be too long. Seen over a window, the counter at which
//         heartbeats came in lies above a straight line, and that at which answers left lies below
//         another; both lines are edges of the points' convex hulls, where the window's middle is,
//         and the clock runs midway between them. So few quick round trips are enough, and slow
//         ones do no harm.
// Limit   a difference between the shortest delays there and back is not to be seen from here: half
//         of it stays as an error. least_round_trip_ns() bounds it.
// Steps   none, once it runs: a better estimate is approached within seconds, so that the time
//         between two edges is never falsified by more than slew_limit. A chip that was reset
//         begins anew: restart().
// Ticks   32 bits that wrap, unwrapped by what the clock expects; 44 hours of silence at 133 MHz
// and
//         100 ppm would confuse it.
// Source  convex hulls for clocks at the ends of a network: Moon, Skelly, Towsley, "Estimation and
//         removal of clock skew from network delay measurements" (1999), from memory.
// RT      no allocation after construction; add() O(1), every 16th time O(window).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace stillrotor::io {

class LinkClock {
 public:
  static constexpr std::size_t window = 2048;   // round trips: 4 s of heartbeats every 2 ms
  static constexpr std::size_t fewest = 64;     // before it runs
  static constexpr std::size_t between = 16;    // round trips from one estimate to the next
  static constexpr double slew_limit = 20e-6;   // rate by which an error is worked off, most
  static constexpr double approach_ns = 2e9;    // in which an error is worked off
  static constexpr double most_drift = 300e-6;  // crystals: 100 ppm, common practice
  static constexpr double jump_ns = 20e3;       // above it the clock was wrong: it steps

  struct RoundTrip {
    std::int64_t sent_ns = 0, back_ns = 0;  // CLOCK_MONOTONIC
    std::uint32_t heard = 0, answered = 0;  // ticks
  };

  explicit LinkClock(double tick_Hz);
  void restart(double tick_Hz) noexcept;
  /// In order of time; one that another has overtaken is ignored.
  void add(const RoundTrip&) noexcept;

  bool runs() const noexcept { return runs_; }
  /// `now_ns` tells which of the counter's turns it is: within half of one.
  std::int64_t ns(std::uint32_t tick, std::int64_t now_ns) const noexcept;
  std::uint32_t tick(std::int64_t at_ns) const noexcept;
  /// By which the counter runs fast against Linux, 50e-6: 50 ppm.
  double drift() const noexcept { return 1.0 / slope_ - 1.0; }
  /// Of the window, the time on the chip taken out.
  double least_round_trip_ns() const noexcept { return least_ns_; }
  std::uint32_t steps() const noexcept { return steps_; }

 private:
  struct Line {
    double at = 0.0, slope = 0.0;  // where it was asked for
  };
  struct Point {
    double x, y;
  };
  std::int64_t unwrapped(std::uint32_t tick, double near_ns) const noexcept;
  Line below(double sign, double middle) noexcept;
  void estimate() noexcept;

  double ns_per_tick_ = 1.0;  // as the chip says
  std::int64_t base_ns_ = 0;  // doubles count from here and from base_tick_
  std::int64_t base_tick_ = 0;
  std::size_t count_ = 0, next_ = 0;
  std::array<Point, window> there_{}, back_{};  // x: ns of Linux, y: ns by the counter less x
  std::array<double, window> delay_{};
  std::array<Point, window> hull_{};
  bool runs_ = false;
  // The clock: ns of Linux = anchor_ns_ + (ns by the counter - anchor_) * slope_.
  double anchor_ = 0.0, anchor_ns_ = 0.0, slope_ = 1.0;
  double least_ns_ = 0.0;
  std::uint32_t steps_ = 0;
};

}  // namespace stillrotor::io
