// The scenario's clock: which action is due next, and when else the plant has to be attended to
// (the end of a ramp that it follows). What a person does in between is put in at its time.
// Time ps since the start of the run. Times never decrease.
// RT: no allocation, lock, log or throw.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <span>

#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/ramped_input.hpp"

namespace stillrotor {

class Timeline {
 public:
  /// `actions` are sorted by time and outlive the timeline.
  explicit Timeline(std::span<const Action> actions) noexcept : rest_(actions) { find_next(); }

  /// The next moment at which something has to be done; never_ps: none.
  std::int64_t next_ps() const noexcept { return std::min(next_action_ps_, next_wake_ps_); }

  /// Outlives the timeline. False: it is earlier than one that has been put in before, or there is
  /// no room until some of those are due.
  bool put_in(const Action& driven) noexcept {
    if (put_in_ - taken_ == driven_.size()) return false;
    if (put_in_ != taken_ && driven.at_ps < last_driven_ps()) return false;
    driven_[put_in_++ % driven_.size()] = &driven;
    find_next();
    return true;
  }
  /// When the last one of them is due; never_ps: none is left.
  std::int64_t last_driven_ps() const noexcept {
    return put_in_ == taken_ ? never_ps : driven_[(put_in_ - 1) % driven_.size()]->at_ps;
  }

  /// tell(const Action&) for what is still to come up to until_ps, in order.
  template <class Tell>
  void tell_coming(std::int64_t until_ps, const Tell& tell) const noexcept {
    Timeline ahead = *this;
    while (const Action* action = ahead.take_due(until_ps)) tell(*action);
  }

  /// Takes the next action that is due at t_ps or before; nullptr: none. At one time the
  /// scenario's own comes first, as it would were both in one file.
  const Action* take_due(std::int64_t t_ps) noexcept {
    if (next_action_ps_ > t_ps) return nullptr;
    const Action* action = nullptr;
    if (!rest_.empty() && rest_.front().at_ps == next_action_ps_) {
      action = &rest_.front();
      rest_ = rest_.subspan(1);
    } else {
      action = driven_[taken_++ % driven_.size()];
    }
    find_next();
    return action;
  }

  /// Asks to be woken then, besides the actions; holds until woken().
  void wake_at(std::int64_t t_ps) noexcept { next_wake_ps_ = std::min(next_wake_ps_, t_ps); }
  void woken() noexcept { next_wake_ps_ = never_ps; }

 private:
  void find_next() noexcept {
    next_action_ps_ = rest_.empty() ? never_ps : rest_.front().at_ps;
    if (put_in_ != taken_)
      next_action_ps_ = std::min(next_action_ps_, driven_[taken_ % driven_.size()]->at_ps);
  }

  std::span<const Action> rest_;
  std::array<const Action*, 64> driven_{};  // a ring
  std::size_t put_in_ = 0, taken_ = 0;
  std::int64_t next_action_ps_ = never_ps, next_wake_ps_ = never_ps;
};

}  // namespace stillrotor
