// What the tests of timers share: a rule with its name, and timers programmed as most of them are.
#pragma once

#include <gtest/gtest.h>

#include <random>

#include "tests/io/cortexm/peripherals/timer_bench.hpp"

namespace stillrotor::io::cortexm {

inline constexpr Word pwm1 = 0x68, pwm2 = 0x78, both = timer_register::cr1::CEN | 1u << 5;
inline constexpr TimerLayout general{.number = 3};

/// Below n, the same each time.
struct Dice {
  Word operator()(Word n) { return static_cast<Word>(engine() % n); }
  std::mt19937 engine;
};

struct Rule {
  const char* name;
  void (*check)();
};
inline void PrintTo(const Rule& rule, std::ostream* out) { *out << rule.name; }

/// A level each clock, for a timer that is programmed and starts at cycle 0.
inline std::vector<bool> levels(TimerBench& b, unsigned channel, Cycle count) {
  std::vector<bool> result;
  for (Cycle c = 0; c < count; ++c) {
    b.run(c);
    result.push_back(b.levels[{channel, false}] == Level::high);
  }
  return result;
}

inline void start_pwm(TimerBench& b, Word mode, Word arr, Word compare, Word control) {
  using namespace timer_register;
  b.set(ARR, arr);
  b.set(CCR1, compare);
  b.set(CCMR1, mode);
  b.set(CCER, 1);
  b.set(BDTR, bdtr::MOE);
  b.set(EGR, flag::U);
  b.set(SR, 0);
  b.set(CR1, control);
}

/// Complementary, centred, dead time `code`, ARR 1000, 30 %.
inline void start_bridge(TimerBench& b, Word code, Word break_bits = 0) {
  using namespace timer_register;
  b.set(ARR, 1000);
  b.set(CCR1, 300);
  b.set(CCMR1, pwm1);
  b.set(CCER, 5);
  b.set(EGR, flag::U);
  b.set(BDTR, bdtr::MOE | break_bits | code);
  b.set(CR1, both);
}

}  // namespace stillrotor::io::cortexm
