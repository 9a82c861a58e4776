// What happens at which cycle.
//
// Few events wait at a time, so they stand in a row, the earliest last: what comes next is there at
// once, and a new one is put where it belongs past the few that come before it.
//
// Order  by cycle; at one cycle, in the order in which the events were made.
// RT     safe but for make(), which throws where there are too many.
#pragma once

#include <algorithm>
#include <array>
#include <stdexcept>
#include <utility>

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
    if (made_ == most) throw std::length_error("too many events of one chip");
    events_[made_] = {[](void* me, Cycle when) { (static_cast<T*>(me)->*Method)(when); }, self};
    return made_++;
  }
  /// Replaces what the event was set to; never: not at all. A moment that has passed comes at once.
  void at(unsigned event, Cycle when) noexcept {
    Cycle& set_to = events_[event].when;
    if (set_to == when) return;
    if (set_to != never) take_out(event);
    set_to = when;
    if (when == never) return;
    slice_end_ = std::min(slice_end_, when);
    const Waiting one{when, event};
    unsigned place = ++last_;
    for (; row_[place - 1].comes_before(one); --place) row_[place] = row_[place - 1];
    row_[place] = one;
  }
  Cycle next() const noexcept { return row_[last_].when; }
  void run_due(Cycle now) noexcept { run_due(now, false); }
  /// paused: an event may set it; then those of its cycle follow, and later ones wait.
  void run_due(Cycle now, const bool& paused) noexcept {
    Cycle last = never;
    while (next() <= now && !(paused && next() != last)) {
      Event& first = events_[row_[last_].event];
      last = std::exchange(first.when, never);
      --last_;
      first.action(first.self, last);
    }
  }

 private:
  static constexpr unsigned most = 64;
  struct Event {
    void (*action)(void*, Cycle) = nullptr;
    void* self = nullptr;
    Cycle when = never;
  };
  struct Waiting {
    Cycle when = never;
    unsigned event = 0;
    bool comes_before(const Waiting& other) const noexcept {
      return when < other.when || (when == other.when && event < other.event);
    }
  };
  void take_out(unsigned event) noexcept {
    unsigned place = last_--;
    while (row_[place].event != event) --place;
    for (; place <= last_; ++place) row_[place] = row_[place + 1];
  }
  Cycle& slice_end_;
  unsigned made_ = 0, last_ = 0;         // events; in the row
  std::array<Waiting, most + 1> row_{};  // the first is nobody, and never
  std::array<Event, most> events_{};
};

}  // namespace stillrotor::io::cortexm
