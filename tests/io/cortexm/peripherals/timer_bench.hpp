// A timer by itself, with everything it tells written down.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "io/mcu/cortexm/timer/registers.hpp"
#include "io/mcu/cortexm/timer/timer.hpp"

namespace stillrotor::io::cortexm {

struct TimerBench : TimerListener {
  explicit TimerBench(TimerLayout layout = {.number = 1, .advanced = true}, unsigned clock = 1)
      : timer(layout, scheduler, *this) {
    for (unsigned channel = 0; channel < 4; ++channel)
      for (const bool complementary : {false, true})
        levels.emplace(std::pair{channel, complementary}, Level::released);
    timer.set_clock(clock, 0);
  }
  void set(Word offset, Word value) { timer.write(offset, value, ~Word{0}, now); }
  Word get(Word offset) { return timer.read(offset, now); }
  void run(Cycle until) {
    while (scheduler.next() <= until) {
      now = scheduler.next();
      scheduler.run_due(now);
    }
    now = until;
  }
  /// As "123+" for high, "-" for low, "z" for released: of OCx or, complementary, of OCxN.
  std::string pads(unsigned channel, bool complementary = false) const {
    std::string text;
    for (const auto& p : pad_changes)
      if (p.channel == channel && p.complementary == complementary)
        text += (text.empty() ? "" : " ") + std::to_string(p.at) + "-+z"[static_cast<int>(p.pad)];
    return text;
  }
  static std::string list(const std::vector<Cycle>& moments) {
    std::string text;
    for (const Cycle m : moments) text += (text.empty() ? "" : " ") + std::to_string(m);
    return text;
  }

  void pad(unsigned channel, bool complementary, Level p, Cycle at) noexcept override {
    pad_changes.push_back({channel, complementary, p, at});
    levels[{channel, complementary}] = p;
  }
  void interrupt(TimerInterrupt line, bool high, Cycle at) noexcept override {
    interrupts[line] = high;
    if (high) interrupted[line].push_back(at);
  }
  void request(TimerRequest r, Cycle at) noexcept override { requests[r].push_back(at); }
  void trigger(bool high, Cycle at) noexcept override {
    if (high) triggers.push_back(at);
  }
  void channel_signal(unsigned channel, bool high, Cycle at) noexcept override {
    if (high) signals[channel].push_back(at);
  }
  void not_modelled(const char*, Cycle) noexcept override { ++unmodelled; }

  struct Change {
    unsigned channel;
    bool complementary;
    Level pad;
    Cycle at;
  };
  Cycle now = 0, slice = never;
  Scheduler scheduler{slice};
  std::vector<Change> pad_changes;
  std::map<std::pair<unsigned, bool>, Level> levels;
  std::map<TimerInterrupt, bool> interrupts;
  std::map<TimerInterrupt, std::vector<Cycle>> interrupted;
  std::map<TimerRequest, std::vector<Cycle>> requests;
  std::map<unsigned, std::vector<Cycle>> signals;
  std::vector<Cycle> triggers;
  int unmodelled = 0;
  Timer timer;
};

}  // namespace stillrotor::io::cortexm
