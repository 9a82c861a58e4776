// Which faults are present, so that one that comes by a condition neither begins nor ends twice.
// RT: no allocation, lock, log or throw after construction.
#pragma once

#include <algorithm>
#include <vector>

#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

class PresentFaults {
 public:
  /// The scenario outlives this.
  explicit PresentFaults(const Scenario& scenario) {
    for_each_action(scenario, [this](const Action& action) {
      if (action.kind == ActionKind::fault && find(action) == known_.end())
        known_.push_back({&action, false});
    });
  }

  /// False, and nothing done: it is so already.
  bool change(const Action& action) noexcept {
    const auto one = find(action);
    if (one == known_.end()) return true;
    if (one->present == !action.cleared) return false;
    one->present = !action.cleared;
    return true;
  }
  /// It has ended by itself.
  void forget(const Action& action) noexcept {
    if (const auto one = find(action); one != known_.end()) one->present = false;
  }

 private:
  struct Known {
    const Action* as;
    bool present;
  };
  std::vector<Known>::iterator find(const Action& action) noexcept {
    return std::find_if(known_.begin(), known_.end(), [&](const Known& known) {
      return known.as->fault == action.fault && known.as->which == action.which;
    });
  }

  std::vector<Known> known_;
};

}  // namespace stillrotor
