// A quantity that the scenario moves in time: it stands still, or runs straight to a new value.
// Units the quantity's own; time in ps. Exact at every instant, so that a read needs no event.
#pragma once

#include <cstdint>
#include <limits>

#include "plant/drive.hpp"

namespace stillrotor {

inline constexpr std::int64_t never_ps = std::numeric_limits<std::int64_t>::max();

class RampedInput {
 public:
  explicit RampedInput(double value) noexcept : from_(value), to_(value) {}

  /// Sets out at at_ps for `to`, and is there over_ps later (0: at once).
  void go(std::int64_t at_ps, double to, std::int64_t over_ps) noexcept {
    from_ = over_ps > 0 ? at(at_ps) : to;
    to_ = to;
    start_ps_ = at_ps;
    over_ps_ = over_ps;
  }

  double at(std::int64_t t_ps) const noexcept {
    const std::int64_t gone_ps = t_ps - start_ps_;
    if (gone_ps >= over_ps_) return to_;
    if (gone_ps <= 0) return from_;
    return from_ + (to_ - from_) * (static_cast<double>(gone_ps) / static_cast<double>(over_ps_));
  }

  /// What the plant has to be told at t_ps: the value then, and its slope from there on.
  plant::Ramp ramp_at(std::int64_t t_ps) const noexcept {
    const bool moving = t_ps < end_ps();
    const double rate = moving ? (to_ - from_) / (static_cast<double>(over_ps_) * 1e-12) : 0.0;
    return {at(t_ps), rate};
  }

  /// When the latest movement is over.
  std::int64_t end_ps() const noexcept { return start_ps_ + over_ps_; }

 private:
  double from_, to_;
  std::int64_t start_ps_ = 0, over_ps_ = 0;
};

}  // namespace stillrotor
