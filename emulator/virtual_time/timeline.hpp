// The scenario's clock: which action is due next, and when else the plant has to be attended to
// (the end of a ramp that it follows). Time ps since the start of the run. Times never decrease.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>

#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/ramped_input.hpp"

namespace stillrotor {

class Timeline {
 public:
  /// `actions` are sorted by time and outlive the timeline.
  explicit Timeline(std::span<const Action> actions) noexcept : rest_(actions) {}

  /// The next moment at which something has to be done; never_ps: none.
  std::int64_t next_ps() const noexcept {
    return std::min(rest_.empty() ? never_ps : rest_.front().at_ps, next_wake_ps_);
  }

  /// What is still to come, in order.
  std::span<const Action> coming() const noexcept { return rest_; }

  /// Takes the next action that is due at t_ps or before; nullptr: none.
  const Action* take_due(std::int64_t t_ps) noexcept {
    if (rest_.empty() || rest_.front().at_ps > t_ps) return nullptr;
    const Action* action = &rest_.front();
    rest_ = rest_.subspan(1);
    return action;
  }

  /// Asks to be woken then, besides the actions; holds until woken().
  void wake_at(std::int64_t t_ps) noexcept { next_wake_ps_ = std::min(next_wake_ps_, t_ps); }
  void woken() noexcept { next_wake_ps_ = never_ps; }

 private:
  std::span<const Action> rest_;
  std::int64_t next_wake_ps_ = never_ps;
};

}  // namespace stillrotor
