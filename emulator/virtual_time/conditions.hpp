// What the scenario's waiting actions wait for, watched on a fixed grid of model time.
// All that are asked at one instant see the same plant, whatever the first of them does.
// Time  ps since the start of the run.
// RT: no allocation, lock, log or throw after construction.
//     Proof: tests/emulator/cycle/real_time_test.cpp
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/ramped_input.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

/// The next point of the grid after t_ps.
constexpr std::int64_t next_grid_ps(std::int64_t t_ps) noexcept {
  return (t_ps / condition_grid_ps + 1) * condition_grid_ps;
}

class Conditions {
 public:
  /// `waiting` outlives this.
  explicit Conditions(std::span<const WaitingAction> waiting);

  /// An event of the timeline happened.
  void happened(std::string_view event, std::int64_t at_ps) noexcept;

  /// The run ends there: nothing is watched longer.
  void end_at(std::int64_t end_ps) noexcept { end_ps_ = end_ps; }

  /// When to ask next; never_ps: nothing waits.
  std::int64_t next_ps(std::int64_t now_ps) const noexcept;

  /// Looks at everything that waits. met(const Action&) for what has come to hold, and
  /// missed(const WaitingAction&) for what can no longer.
  template <class Met, class Missed>
  void ask(std::int64_t now_ps, const plant::Drive& drive, double distance_m, const Met& met,
           const Missed& missed) noexcept {
    if (open_ == 0) return;
    look(now_ps, drive, distance_m);
    for (Watch& watch : watches_) {
      if (watch.state == State::due) {
        close(watch);
        met(watch.waiting->action);
      } else if (watch.open() && now_ps >= by_ps(watch)) {
        close(watch);
        missed(*watch.waiting);
      }
    }
  }

 private:
  enum class State : std::uint8_t {
    asleep,  // its event has not happened
    awake,
    due,
    closed
  };
  struct Watch {
    const WaitingAction* waiting;
    State state;
    std::int64_t event_ps = 0;
    std::int64_t holds_since_ps = never_ps;
    bool open() const noexcept { return state != State::closed; }
  };

  std::int64_t by_ps(const Watch& watch) const noexcept {
    return std::min(watch.waiting->condition.by_ps, end_ps_);
  }
  void look(std::int64_t now_ps, const plant::Drive&, double distance_m) noexcept;
  void close(Watch& watch) noexcept {
    watch.state = State::closed;
    --open_;
  }

  std::vector<Watch> watches_;
  std::size_t open_ = 0;
  std::int64_t end_ps_ = never_ps;
};

}  // namespace stillrotor
