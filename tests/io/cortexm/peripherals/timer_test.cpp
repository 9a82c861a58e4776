// Timers against the reference manual (RM0090): counting, comparing, registers; moments to the
// timer's clock. Chapters beside the cases, from memory.
#include "tests/io/cortexm/peripherals/timer_rules.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace timer_register;

const Rule rules[] = {
    // --- counter modes --------------------------------------------------------------------
    {"FirstTickTwoClocksAfterEnable",
     [] {
       TimerBench b;
       b.set(CR1, cr1::CEN);
       b.run(1);
       EXPECT_EQ(b.get(CNT), 0u);
       b.run(2);
       EXPECT_EQ(b.get(CNT), 1u);
     }},
    {"EdgeAlignedPeriodIsTopPlusOne",
     [] {
       TimerBench b;
       start_pwm(b, pwm1, 9, 4, cr1::CEN);
       b.run(35);
       // High while the count is 0 to 3; counts 0 at 1, 11, 21.
       EXPECT_EQ(b.pads(0), "0+ 5- 11+ 15- 21+ 25- 31+ 35-");
     }},
    {"EdgeAlignedDown",
     [] {
       TimerBench b;
       start_pwm(b, pwm1, 9, 4, cr1::DIR);
       b.set(CNT, 9);
       b.set(CR1, cr1::DIR | cr1::CEN);
       b.run(32);
       // High while the count is 4 to 0; 9 at 1, 4 at 6, 9 again at 11.
       EXPECT_EQ(b.pads(0), "0+ 0- 6+ 11- 16+ 21- 26+ 31-");
     }},
    {"CentredPulseIsTwiceTheCompareValueAroundTheUnderflow",
     [] {
       TimerBench b;
       start_pwm(b, pwm1, 10, 3, both);
       b.run(65);
       // The count is 0 at 1, 21, 41: high from 3 ticks before to 3 after.
       EXPECT_EQ(b.pads(0), "0+ 4- 18+ 24- 38+ 44- 58+ 64-");
     }},
    {"SecondModeIsTheOpposite",
     [] {
       TimerBench b;
       start_pwm(b, pwm2, 9, 4, cr1::CEN);
       b.run(25);
       EXPECT_EQ(b.pads(0), "0- 5+ 11- 15+ 21- 25+");
     }},
    {"NothingAndAllOfThePeriod",
     [] {
       struct Case {
         Word control, compare;
         bool high;
       };
       for (const Case c : {Case{cr1::CEN, 0, false},
                            {cr1::CEN, 10, true},
                            {both, 0, false},
                            {both, 9, true},
                            {both, 10, true}}) {
         TimerBench b;
         start_pwm(b, pwm1, 9, c.compare, c.control);
         for (const bool level : levels(b, 0, 60)) EXPECT_EQ(level, c.high) << c.compare;
       }
     }},
    {"PrescalerDividesAndComesIntoForceWithTheUpdate",
     [] {
       TimerBench b({.number = 3}, 2);
       b.set(ARR, 4);
       b.set(PSC, 2);
       b.set(CR1, cr1::CEN);
       b.set(DIER, flag::U);
       b.run(200);
       // Five ticks of one clock of two cycles, then ticks of three clocks.
       EXPECT_EQ(b.interrupted[TimerInterrupt::all], (std::vector<Cycle>{12}));
       b.set(SR, 0);
       b.run(12 + 30 * 7);
       EXPECT_EQ(b.interrupted[TimerInterrupt::all].back(), 12u + 30 * 7);
     }},
    {"TopIsPreloadedOnlyWithARPE",
     [] {
       for (const bool preload : {false, true}) {
         TimerBench b(general);
         b.set(ARR, 99);
         b.set(CR1, cr1::CEN | (preload ? cr1::ARPE : 0));
         b.set(DIER, flag::U);
         b.run(20);
         b.set(ARR, 49);
         b.run(500);
         EXPECT_EQ(b.interrupted[TimerInterrupt::all].front(), preload ? 101u : 51u);
       }
     }},
    {"CentredTopComesIntoForceAtTheOverflow",
     [] {
       TimerBench b;
       start_pwm(b, pwm1, 100, 20, both | cr1::ARPE);
       b.run(50);
       b.set(ARR, 60);
       b.run(102);  // the overflow at 101 has set the count to 60
       EXPECT_EQ(b.get(CNT), 59u);
       EXPECT_EQ(b.get(CR1) & cr1::DIR, cr1::DIR);
     }},
    {"RepetitionsCountOverflowsAndUnderflows",
     [] {
       for (const Word repetitions : {0u, 1u, 3u}) {
         TimerBench b;
         b.set(ARR, 10);
         b.set(RCR, repetitions);
         b.set(EGR, flag::U);
         b.set(SR, 0);
         b.set(DIER, flag::U | flag::DE(flag::U));
         b.set(CR1, both);
         b.run(130);
         std::vector<Cycle> expected;
         for (Cycle at = 11 + 10 * repetitions; at <= 130; at += 10 * (repetitions + 1))
           expected.push_back(at);
         EXPECT_EQ(b.requests[TimerRequest::update], expected) << repetitions;
       }
     }},
    {"UDISKeepsWhatIsInForce",
     [] {
       TimerBench b;
       start_pwm(b, pwm1, 9, 4, cr1::CEN | cr1::UDIS);
       b.set(CCR1, 7);
       b.run(25);
       EXPECT_EQ(b.pads(0), "0+ 5- 11+ 15- 21+ 25-");
       EXPECT_EQ(b.get(SR) & flag::U, 0u);
       b.set(CR1, cr1::CEN);
       b.run(38);
       EXPECT_EQ(b.pad_changes.back().at, 38u);
     }},
    {"CompareValueWithAndWithoutPreload",
     [] {
       for (const bool preload : {true, false}) {
         TimerBench b;
         start_pwm(b, preload ? pwm1 : 0x60, 99, 50, cr1::CEN);
         b.run(31);
         b.set(CCR1, 20);
         b.run(60);
         EXPECT_EQ(b.pads(0), preload ? "0+ 51-" : "0+ 31-");
       }
     }},
    {"OnePulse",
     [] {
       TimerBench b;
       start_pwm(b, pwm2, 9, 4, cr1::CEN | cr1::OPM);
       b.run(100);
       EXPECT_EQ(b.pads(0), "0- 5+ 11-");
       EXPECT_EQ(b.get(CR1) & cr1::CEN, 0u);
     }},
    {"WideCounter",
     [] {
       TimerBench b({.number = 2, .wide = true});
       b.set(CR1, cr1::CEN);
       b.run(0x123456789);
       EXPECT_EQ(b.get(CNT), 0x123456788u & 0xffffffffu);
       EXPECT_EQ(b.get(SR) & flag::U, flag::U);
     }},
    // --- compare ---------------------------------------------------------------------------
    {"MatchModes",
     [] {
       struct Case {
         Word mode;
         const char* pads;
       };
       for (const Case c : {Case{0x10, "0- 5+"},
                            {0x20, "0-"},
                            {0x30, "0- 5+ 15- 25+"},
                            {0x40, "0-"},
                            {0x50, "0+"},
                            {0x00, "0-"}}) {
         TimerBench b;
         start_pwm(b, c.mode, 9, 4, cr1::CEN);
         b.run(30);
         EXPECT_EQ(b.pads(0), c.pads) << c.mode;
       }
     }},
    {"ForcedLevelHoldsUntilTheComparisonChanges",
     [] {
       TimerBench b;
       start_pwm(b, 0x40, 9, 4, cr1::CEN);
       b.run(12);  // count 1: PWM would be high
       b.set(CCMR1, 0x60);
       b.run(24);
       EXPECT_EQ(b.pads(0), "0- 21+");
     }},
    {"FlagOnTheWayDownUpOrBoth",
     [] {
       const std::vector<Cycle> down{18, 38}, up{4, 24, 44};
       for (const unsigned cms : {1u, 2u, 3u}) {
         TimerBench b(general);
         b.set(ARR, 10);
         b.set(CCR1, 3);
         b.set(DIER, flag::DE(flag::CC(0)));
         b.set(CR1, cr1::CEN | cms << 5);
         b.run(45);
         std::vector<Cycle> expected = cms == 1 ? down : up;
         if (cms == 3) expected = {4, 18, 24, 38, 44};
         EXPECT_EQ(b.requests[TimerRequest::channel1], expected) << cms;
       }
     }},
    {"FlagOfAValueBeyondTheTopComesWithTheOverflow",
     [] {
       TimerBench b(general);
       b.set(ARR, 9);
       b.set(CCR1, 20);
       b.set(DIER, flag::DE(flag::CC(0)));
       b.set(CR1, cr1::CEN);
       b.run(25);
       EXPECT_EQ(b.requests[TimerRequest::channel1], (std::vector<Cycle>{11, 21}));
     }},
    {"ConverterTriggerFromTheFourthChannel",
     [] {
       TimerBench b;
       b.set(ARR, 100);
       b.set(CCMR2, 0x7800);
       b.set(CCR1 + 12, 95);
       b.set(CCER, 1u << 12);
       b.set(BDTR, bdtr::MOE);
       b.set(EGR, flag::U);
       b.set(CR1, both);
       b.run(420);
       // Mode 2 is active from 95 on the way up until 95 on the way down; and before the first
       // period, while the compare value is still 0.
       EXPECT_EQ(b.signals[3], (std::vector<Cycle>{0, 96, 296}));
     }},
    // --- registers ------------------------------------------------------------
    {"FlagsAreClearedByZerosOnly",
     [] {
       TimerBench b(general);
       b.set(EGR, 0x1f);
       EXPECT_EQ(b.get(SR), 0x1fu);
       b.set(SR, ~Word{4});
       EXPECT_EQ(b.get(SR), 0x1bu);
       b.timer.write(SR, 0, 0xff00, 0);  // the other byte
       EXPECT_EQ(b.get(SR), 0x1bu);
     }},
    {"ABasicTimerHasNothingElse",
     [] {
       TimerBench b({.number = 6, .channels = 0, .both_ways = false});
       for (Word offset = 0; offset <= OR; offset += 4)
         if (offset != EGR && offset != CR1) b.set(offset, 0xffffffff);
       for (const Word offset : {SMCR, CCMR1, CCMR2, CCER, CCR1, BDTR, RCR, DCR})
         EXPECT_EQ(b.get(offset), 0u) << offset;
       EXPECT_EQ(b.get(DIER), 0x101u);
       b.set(CR1, cr1::CEN | cr1::ARPE);
       b.run(70000);
       EXPECT_EQ(b.interrupted[TimerInterrupt::all].size(), 1u);
     }},
    {"BurstsGoFromRegisterToRegister",
     [] {
       TimerBench b;
       b.set(DCR, 2u << 8 | CCR1 / 4);
       for (const Word value : {11u, 22u, 33u, 44u}) b.set(DMAR, value);
       EXPECT_EQ(b.get(CCR1), 44u);
       EXPECT_EQ(b.get(CCR1 + 4), 22u);
       EXPECT_EQ(b.get(CCR1 + 8), 33u);
     }},
    {"WhatDoesNothingIsTold",
     [] {
       TimerBench b;
       b.set(CCMR1, 0x84);
       b.set(SMCR, 1u << 12);
       EXPECT_EQ(b.unmodelled, 2);
     }},
    {"ASwitchedOffClockHoldsTheCount",
     [] {
       TimerBench b(general);
       b.set(CR1, cr1::CEN);
       b.run(100);
       b.timer.set_clock(0, 100);
       b.run(1000);
       EXPECT_EQ(b.get(CNT), 99u);
       b.timer.set_clock(2, 1000);
       b.run(1200);
       EXPECT_EQ(b.get(CNT), 199u);
     }},
};

class Timers : public testing::TestWithParam<Rule> {};
TEST_P(Timers, Rule) { GetParam().check(); }
INSTANTIATE_TEST_SUITE_P(RM0090, Timers, testing::ValuesIn(rules),
                         [](const auto& rule) { return rule.param.name; });

/// The same, clock by clock: no step is skipped and none taken twice.
struct EveryClock {
  Word top, arr, compare, written, prescaler, psc, mode;
  unsigned alignment;
  Word count = 0, divided = 0;
  bool down = false, reference = false, below = false;

  void clock() {
    if (++divided <= prescaler) return;
    divided = 0;
    bool boundary = false;
    if (alignment == 0) {
      boundary = count == top;
      count = boundary ? 0 : count + 1;
    } else {
      count = down ? count - 1 : count + 1;
      boundary = count == (down ? 0 : top);
      if (boundary) down = !down;
    }
    if (boundary) {
      prescaler = psc;
      const bool at_top = alignment != 0 && down;
      top = arr;
      compare = written;
      if (at_top) count = top;
    }
    const bool now = down ? count <= compare : count < compare;
    if (now != below) reference = now == (mode == 6);
    below = now;
  }
};

TEST(TimerInSteps, AreThoseOfEveryClock) {
  Dice random{std::mt19937(11)};
  for (int trial = 0; trial < 150; ++trial) {
    TimerBench b;
    const unsigned alignment = random(4);
    const Word mode = 6 + random(2);
    EveryClock e{};
    e.top = e.arr = 2 + random(30);
    e.compare = e.written = random(34);
    e.prescaler = e.psc = random(4);
    e.mode = mode;
    e.alignment = alignment;
    b.set(ARR, e.arr);
    b.set(PSC, e.psc);
    b.set(CCR1, e.compare);
    b.set(CCMR1, mode << 4 | 8);
    b.set(CCER, 1);
    b.set(BDTR, bdtr::MOE);
    b.set(EGR, flag::U);
    b.set(CR1, cr1::CEN | cr1::ARPE | alignment << 5);
    e.below = e.count < e.compare;
    e.reference = e.below == (mode == 6);
    for (Cycle c = 1; c < 600; ++c) {
      b.run(c);
      if (c > 1) e.clock();  // the counter's clock begins with the one after CEN
      ASSERT_EQ(b.levels[std::make_pair(0u, false)] == Level::high, e.reference)
          << trial << " at " << c;
      if (random(40) == 0) b.set(CCR1, e.written = random(34));
      if (random(60) == 0) b.set(ARR, e.arr = 2 + random(30));
      if (random(60) == 0) b.set(PSC, e.psc = random(4));
      if (random(8) == 0) {
        ASSERT_EQ(b.get(CNT), e.count) << trial << " at " << c;
      }
    }
  }
}

/// Nobody looks: the count is worked out when it is read.
TEST(TimerUnwatched, CountsAsIfWatched) {
  Dice random{std::mt19937(3)};
  for (int trial = 0; trial < 40; ++trial) {
    TimerBench lazy(general), watched(general);
    const Word arr = 1 + random(50), control = cr1::CEN | (random(4)) << 5;
    for (TimerBench* b : {&lazy, &watched}) {
      b->set(ARR, arr);
      b->set(CCR1, arr / 2);
      b->set(DIER, b == &watched ? flag::U | flag::CC(0) : 0);
      b->set(CR1, control);
    }
    for (int i = 0; i < 50; ++i) {
      const Cycle to = lazy.now + random(300);
      lazy.run(to);
      watched.run(to);
      ASSERT_EQ(lazy.get(CNT), watched.get(CNT));
      ASSERT_EQ(lazy.get(SR), watched.get(SR));
      if (random(4) == 0) {
        lazy.set(SR, 0);
        watched.set(SR, 0);
      }
    }
    EXPECT_EQ(lazy.scheduler.next(), never);
  }
}

}  // namespace
}  // namespace stillrotor::io::cortexm
