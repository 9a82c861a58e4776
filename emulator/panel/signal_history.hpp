// The signals of a run so far: every point of the last seconds, and steps of 8, 64, 512 ... points
// of what lies further back, so that hours take no more memory than minutes.
// Memory  at most 60 MB of points, 23 MB a level; at 20 kHz 12 s, an hour 140 MB in all. A level
//         goes back at least 4096 of its steps further than the next finer one is missed.
// Missing points that never came are not a number, and leave no trace in a step.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "emulator/panel/view_source.hpp"

namespace stillrotor {

class SignalHistory {
 public:
  static constexpr std::int64_t coarser = 8;          // points of a step, or steps of a coarser one
  static constexpr std::size_t level_count = 7;       // of steps; beyond the coarsest all is gone
  static constexpr std::int64_t steps_most = 32'768;  // of a level
  static constexpr double raw_s = 12.0;  // of single points at least, as far as they have room
  static constexpr std::int64_t raw_most = 262'144;

  explicit SignalHistory(double rate_Hz);

  /// By time. What is not later than the last one is not taken.
  void add(const Frame&);

  double rate_Hz() const noexcept { return rate_Hz_; }
  std::int64_t points() const noexcept { return points_; }
  bool has_raw(std::int64_t from) const noexcept { return from >= points_ - kept(); }
  float raw(Signal, std::int64_t point) const noexcept;
  /// Of points from .. to - 1; see ViewSource::columns().
  Column over(Signal, std::int64_t from, std::int64_t to) const noexcept;

 private:
  static constexpr std::size_t block = 64, raw_columns = signal_count + 2 * spread_count;
  using Values = std::array<float, signal_count>;
  struct Step {
    Values first, least, greatest, last;
    Step() noexcept;
    void take(const Step&) noexcept;
  };
  struct Level {
    std::array<std::vector<Column>, signal_count> steps;  // rings
    std::int64_t count = 0;                               // whole ones so far
    Step open;                                            // the one that is being filled
    std::int64_t filled = 0;                              // of its `coarser` parts
  };

  std::int64_t kept() const noexcept;
  /// Blocks of some points, in each signal after signal: a ring a signal would have all signals of
  /// a point in the same few lines of the processor's cache.
  std::size_t place(std::size_t column, std::int64_t point) const noexcept {
    const auto at = static_cast<std::size_t>(point & (raw_capacity_ - 1));
    return (at / block * raw_columns + column) * block + at % block;
  }
  void add_point(const Frame*);
  void add_step(std::size_t level, const Step&);
  Column of_point(Signal, std::int64_t point) const noexcept;

  double rate_Hz_;
  std::int64_t raw_capacity_;  // a power of two
  std::int64_t points_ = 0;
  std::vector<float> raw_;  // values, then least and greatest of those with spread
  std::array<Level, level_count> levels_;
};

}  // namespace stillrotor
