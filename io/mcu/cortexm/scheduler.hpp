// What happens at which cycle.
//
// A tree of comparisons over all events, as in a tournament: each node names the earlier of the two
// below it, so a change costs the way to the root, and that only as far as it matters.
//
// Order  by cycle; at one cycle, in the order in which the events were made.
// RT     make() allocates, nothing else does.
#pragma once

#include <algorithm>
#include <vector>

#include "io/mcu/clock.hpp"

namespace stillrotor::io::cortexm {

using mcu::Cycle;
inline constexpr Cycle never = ~Cycle{0};

class Scheduler {
 public:
  /// slice_end: instructions stop there; an earlier event moves it forward.
  explicit Scheduler(Cycle& slice_end) : slice_end_(slice_end) {}

  /// Method: void (T::*)(Cycle when). It is called once for each at().
  template <auto Method, class T>
  unsigned make(T* self) {
    events_.push_back({[](void* me, Cycle when) { (static_cast<T*>(me)->*Method)(when); }, self});
    const auto made = static_cast<unsigned>(events_.size() - 1);
    if (made >= leaves_) grow();
    return made;
  }
  /// Replaces what the event was set to; never: not at all. A moment that has passed comes at once.
  void at(unsigned event, Cycle when) noexcept {
    if (event == running_) running_ = none;
    unsigned place = leaves_ + event;
    if (nodes_[place].when == when) return;
    nodes_[place].when = when;
    slice_end_ = std::min(slice_end_, when);
    while (place > 1) {
      const Node &left = nodes_[place & ~1u], &right = nodes_[place | 1u];
      const Node earlier = right.when < left.when ? right : left;
      place /= 2;
      if (nodes_[place] == earlier) return;  // nothing changes above
      nodes_[place] = earlier;
    }
  }
  Cycle when(unsigned event) const noexcept { return nodes_[leaves_ + event].when; }
  Cycle next() const noexcept { return nodes_[1].when; }
  void run_due(Cycle now) noexcept { run_due(now, false); }
  /// paused: an event may set it; then those of its cycle follow, and later ones wait.
  void run_due(Cycle now, const bool& paused) noexcept {
    Cycle last = never;
    while (next() <= now && !(paused && next() != last)) {
      const unsigned first = nodes_[1].event;
      last = next();
      // Most set themselves anew: only one that has not is taken out.
      running_ = first;
      events_[first].action(events_[first].self, last);
      if (running_ == first) at(first, never);
    }
  }

 private:
  struct Event {
    void (*action)(void*, Cycle);
    void* self;
  };
  struct Node {
    Cycle when = never;
    unsigned event = 0;
    bool operator==(const Node&) const = default;
  };
  static constexpr unsigned none = ~0u;
  void grow() {
    std::vector<Node> old(nodes_.begin() + leaves_, nodes_.end());
    leaves_ *= 2;
    nodes_.assign(2 * leaves_, {});
    for (unsigned i = 0; i < leaves_; ++i)
      nodes_[leaves_ + i] = {i < old.size() ? old[i].when : never, i};
    for (unsigned i = leaves_ - 1; i != 0; --i)
      nodes_[i] = nodes_[2 * i + 1].when < nodes_[2 * i].when ? nodes_[2 * i + 1] : nodes_[2 * i];
  }
  Cycle& slice_end_;
  std::vector<Event> events_;
  unsigned leaves_ = 1, running_ = none;  // leaves_: a power of two
  std::vector<Node> nodes_{2};            // n stands above 2n and 2n + 1; events from leaves_ on
};

}  // namespace stillrotor::io::cortexm
