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
    if (when_[event] == when) return;
    when_[event] = when;
    slice_end_ = std::min(slice_end_, when);
    for (unsigned node = (leaves_ + event) / 2; node != 0; node /= 2) {
      const unsigned before = earlier_[node];
      decide(node);
      if (earlier_[node] == before && before != event) return;  // nothing changes above
    }
  }
  Cycle when(unsigned event) const noexcept { return when_[event]; }
  Cycle next() const noexcept { return when_[earlier_[1]]; }
  void run_due(Cycle now) noexcept { run_due(now, false); }
  /// paused: an event may set it; then those of its cycle follow, and later ones wait.
  void run_due(Cycle now, const bool& paused) noexcept {
    Cycle last = never;
    while (next() <= now && !(paused && next() != last)) {
      const unsigned first = earlier_[1];
      last = when_[first];
      at(first, never);
      events_[first].action(events_[first].self, last);
    }
  }

 private:
  struct Event {
    void (*action)(void*, Cycle);
    void* self;
  };
  /// Node n stands above 2n and 2n + 1; the events stand below the last row.
  unsigned below(unsigned place) const noexcept {
    return place < leaves_ ? earlier_[place] : place - leaves_;
  }
  void decide(unsigned node) noexcept {
    const unsigned left = below(2 * node), right = below(2 * node + 1);
    earlier_[node] = when_[right] < when_[left] ? right : left;
  }
  void grow() {
    leaves_ *= 2;
    when_.resize(leaves_, never);
    earlier_.assign(leaves_, 0);
    for (unsigned node = leaves_ - 1; node != 0; --node) decide(node);
  }
  Cycle& slice_end_;
  unsigned leaves_ = 2;  // a power of two
  std::vector<Event> events_;
  std::vector<Cycle> when_{never, never};  // by event
  std::vector<unsigned> earlier_{0, 0};    // by node, the event
};

}  // namespace stillrotor::io::cortexm
