// Intermittent faults that are under way: each comes and goes at the times drawn for it when the
// scenario was read.
// Time  ps since the start of the run.
// RT: no allocation, lock, log or throw after construction.
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/ramped_input.hpp"

namespace stillrotor {

class FlickeringFaults {
 public:
  explicit FlickeringFaults(const Scenario& scenario) {
    std::size_t most = 0;
    for_each_action(scenario, [&most](const Action& a) { most += a.flips.empty() ? 0 : 1; });
    under_way_.reserve(most);
  }

  /// It is present from now on. The action outlives this.
  void begin(const Action& action, std::int64_t now_ps) noexcept {
    if (!action.flips.empty() && under_way_.size() < under_way_.capacity())
      under_way_.push_back({&action, now_ps, 0});
  }

  /// The fault is mended. Returns whether it has gone away at this moment already.
  bool end(const Action& action) noexcept {
    const auto one = std::find_if(under_way_.begin(), under_way_.end(), [&](const One& u) {
      return u.action->fault == action.fault && u.action->which == action.which;
    });
    if (one == under_way_.end()) return false;
    const bool gone = one->next % 2 == 1;
    under_way_.erase(one);
    return gone;
  }

  /// flip(action, present) for what is due, over(action) for what is over with it. Returns when the
  /// next one is.
  template <class Flip, class Over>
  std::int64_t follow(std::int64_t now_ps, const Flip& flip, const Over& over) noexcept {
    std::int64_t next_ps = never_ps;
    for (std::size_t k = 0; k < under_way_.size();) {
      One& one = under_way_[k];
      const auto& flips = one.action->flips;
      while (one.next < flips.size() && one.begun_ps + flips[one.next] <= now_ps)
        flip(*one.action, one.next++ % 2 == 1);
      if (one.next == flips.size()) {
        const Action& done = *one.action;
        under_way_.erase(under_way_.begin() + static_cast<std::ptrdiff_t>(k));
        over(done);
        continue;
      }
      next_ps = std::min(next_ps, one.begun_ps + flips[one.next]);
      ++k;
    }
    return next_ps;
  }

 private:
  struct One {
    const Action* action;
    std::int64_t begun_ps;
    std::size_t next;  // of its flips
  };
  std::vector<One> under_way_;
};

}  // namespace stillrotor
