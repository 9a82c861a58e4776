// Faults that move by themselves (Fault::go_on), and when each wants to be called next.
// Time  ps since the start of the run.
// RT: everything but the constructor is safe.
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "emulator/faults/fault_site.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {

class MovingFaults {
 public:
  MovingFaults() { moving_.reserve(distinct_faults()); }

  bool any() const noexcept { return !moving_.empty(); }

  /// The action outlives this.
  void begin(const Action& action, std::int64_t now_ps) noexcept {
    if (action.fault->go_on != nullptr && moving_.size() < moving_.capacity())
      moving_.push_back({&action, 0, now_ps});
  }
  void end(const Action& action) noexcept {
    const auto same = [&](const Moving& m) {
      return m.action->fault == action.fault && m.action->which == action.which;
    };
    moving_.erase(std::remove_if(moving_.begin(), moving_.end(), same), moving_.end());
  }

  /// Calls what is due. Returns when the next one is.
  std::int64_t follow(FaultSite& site) noexcept {
    std::int64_t next_ps = Fault::never_ps;
    for (Moving& m : moving_) {
      if (m.due_ps <= site.now_ps())
        m.due_ps =
            std::max(m.action->fault->go_on(site, m.action->settings, m.turn++), site.now_ps() + 1);
      next_ps = std::min(next_ps, m.due_ps);
    }
    return next_ps;
  }

 private:
  struct Moving {
    const Action* action;
    std::int64_t turn, due_ps;
  };
  std::vector<Moving> moving_;
};

}  // namespace stillrotor
