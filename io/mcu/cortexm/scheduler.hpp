// What happens at which cycle.
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
    events_.push_back(
        {never, [](void* me, Cycle when) { (static_cast<T*>(me)->*Method)(when); }, self});
    return static_cast<unsigned>(events_.size() - 1);
  }
  /// Replaces what the event was set to; never: not at all. A moment that has passed comes at once.
  void at(unsigned event, Cycle when) noexcept {
    events_[event].when = when;
    if (when < next_) {
      next_ = when;
      slice_end_ = std::min(slice_end_, when);
    } else {
      find_next();
    }
  }
  Cycle when(unsigned event) const noexcept { return events_[event].when; }
  Cycle next() const noexcept { return next_; }
  void run_due(Cycle now) noexcept { run_due(now, false); }
  /// paused: an event may set it; then those of its cycle follow, and later ones wait.
  void run_due(Cycle now, const bool& paused) noexcept {
    Cycle last = never;
    while (next_ <= now && !(paused && next_ != last)) {
      last = next_;
      for (Event& e : events_)
        if (e.when == next_) {
          const Cycle when = e.when;
          e.when = never;
          e.action(e.self, when);
          break;
        }
      find_next();
    }
  }

 private:
  struct Event {
    Cycle when;
    void (*action)(void*, Cycle);
    void* self;
  };
  void find_next() noexcept {
    next_ = never;
    for (const Event& e : events_) next_ = std::min(next_, e.when);
  }
  Cycle& slice_end_;
  Cycle next_ = never;
  std::vector<Event> events_;
};

}  // namespace stillrotor::io::cortexm
