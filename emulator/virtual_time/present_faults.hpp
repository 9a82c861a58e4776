// Which faults are present, so that one that comes by a condition, or that a person drives, neither
// begins nor ends twice.
// RT: no allocation, lock, log or throw after construction.
#pragma once

#include <algorithm>
#include <vector>

#include "emulator/scenario/scenario.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {

class PresentFaults {
 public:
  PresentFaults() { present_.reserve(distinct_faults()); }

  /// False, and nothing done: it is so already. The action outlives this.
  bool change(const Action& action) noexcept {
    const auto one = find(action);
    if ((one != present_.end()) == !action.cleared) return false;
    if (action.cleared)
      present_.erase(one);
    else if (present_.size() < present_.capacity())
      present_.push_back(&action);
    return true;
  }
  /// It has ended by itself.
  void forget(const Action& action) noexcept {
    if (const auto one = find(action); one != present_.end()) present_.erase(one);
  }

 private:
  std::vector<const Action*>::iterator find(const Action& action) noexcept {
    return std::find_if(present_.begin(), present_.end(), [&](const Action* known) {
      return known->fault == action.fault && known->which == action.which;
    });
  }

  std::vector<const Action*> present_;
};

}  // namespace stillrotor
