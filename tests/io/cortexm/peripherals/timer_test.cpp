// Timers against the reference manual (RM0090): moments to the timer's clock. Chapters beside the
// cases, from memory.
#include <gtest/gtest.h>

#include <random>

#include "tests/io/cortexm/peripherals/timer_bench.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace timer_register;

constexpr Word pwm1 = 0x68, pwm2 = 0x78, both = cr1::CEN | 1u << 5;
constexpr TimerLayout general{.number = 3};

/// Below n, the same each time.
struct Dice {
  Word operator()(Word n) { return static_cast<Word>(engine() % n); }
  std::mt19937 engine;
};

struct Rule {
  const char* name;
  void (*check)();
};
void PrintTo(const Rule& rule, std::ostream* out) { *out << rule.name; }

/// A level each clock, for a timer that is programmed and starts at cycle 0.
std::vector<bool> levels(TimerBench& b, unsigned channel, Cycle count) {
  std::vector<bool> result;
  for (Cycle c = 0; c < count; ++c) {
    b.run(c);
    result.push_back(b.levels[{channel, false}] == Level::high);
  }
  return result;
}

void start_pwm(TimerBench& b, Word mode, Word arr, Word compare, Word control) {
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
void start_bridge(TimerBench& b, Word code, Word break_bits = 0) {
  b.set(ARR, 1000);
  b.set(CCR1, 300);
  b.set(CCMR1, pwm1);
  b.set(CCER, 5);
  b.set(EGR, flag::U);
  b.set(BDTR, bdtr::MOE | break_bits | code);
  b.set(CR1, both);
}

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
    // --- complementary outputs ----------------------------------------------------------------
    {"DeadTimeOfEachRange",
     [] {
       struct Case {
         Word code, ckd, clocks;
       };
       for (const Case c : {Case{0x00, 0, 0},
                            {0x14, 0, 20},
                            {0x7f, 0, 127},
                            {0x80, 0, 128},
                            {0xbf, 0, 254},
                            {0xc0, 0, 256},
                            {0xdf, 0, 504},
                            {0xe0, 0, 512},
                            {0xff, 0, 1008},
                            {0x14, 1, 40},
                            {0x14, 2, 80}}) {
         TimerBench b;
         b.set(ARR, 10000);
         b.set(CCR1, 5000);
         b.set(CCMR1, pwm1);
         b.set(CCER, 5);
         b.set(EGR, flag::U);
         b.set(BDTR, bdtr::MOE | c.code);
         b.run(2000);
         b.pad_changes.clear();
         b.now = 2000;
         b.set(CR1, both | c.ckd << 8);
         b.run(24000);
         // The count is 5000 at 7001 and 17001.
         EXPECT_EQ(b.pads(0), "7001- " + std::to_string(17001 + c.clocks) + "+") << c.code;
         EXPECT_EQ(b.pads(0, true), std::to_string(7001 + c.clocks) + "+ 17001-") << c.code;
       }
     }},
    {"APulseShorterThanTheDeadTimeDoesNotComeOut",
     [] {
       TimerBench b;
       start_bridge(b, 100);
       b.set(CCR1, 49);  // 98 clocks
       b.run(2300);
       b.pad_changes.clear();
       b.run(20000);
       EXPECT_EQ(b.pads(0), "");
       EXPECT_NE(b.pads(0, true), "");
     }},
    {"BothPadsAreNeverOn",
     [] {
       Dice random{std::mt19937(5)};
       TimerBench b;
       start_bridge(b, 30);
       for (int i = 0; i < 400; ++i) {
         b.run(b.now + random(900));
         b.set(CCR1, random(1100));
         if (random(8) == 0) b.set(CCMR1, (random(8)) << 4 | (random(2) * 8));
         if (random(16) == 0) b.timer.break_input(random(2) != 0, b.now);
       }
       bool on = false, on_n = false;
       Cycle off_since = 0, off_n_since = 0;
       for (const auto& c : b.pad_changes) {
         (c.complementary ? on_n : on) = c.pad == Level::high;
         if (c.pad == Level::high) {
           EXPECT_GE(c.at, (c.complementary ? off_since : off_n_since) + 30);
         } else {
           (c.complementary ? off_n_since : off_since) = c.at;
         }
         EXPECT_FALSE(on && on_n) << c.at;
       }
       EXPECT_GT(b.pad_changes.size(), 200u);
     }},
    {"OutputTable",
     [] {
       // MOE, OSSI, OSSR, CCxE, CCxNE; reference high; polarities 0; idle levels 1 and 0.
       struct Row {
         Word break_bits, enables;
         Level pad, pad_n;
       };
       constexpr Level z = Level::released, lo = Level::low, hi = Level::high;
       for (const Row r : {Row{bdtr::MOE, 0, z, z},
                           {bdtr::MOE, 1, hi, z},
                           {bdtr::MOE, 4, z, hi},
                           {bdtr::MOE, 5, hi, lo},
                           {bdtr::MOE | bdtr::OSSR, 0, z, z},
                           {bdtr::MOE | bdtr::OSSR, 1, hi, lo},
                           {bdtr::MOE | bdtr::OSSR, 4, lo, hi},
                           {0, 5, z, z},
                           {bdtr::OSSI, 0, z, z},
                           {bdtr::OSSI, 1, hi, lo},
                           {bdtr::OSSI, 5, hi, lo}}) {
         TimerBench b;
         b.set(CR2, 1u << 8);
         b.set(CCMR1, 0x50);
         b.set(BDTR, r.break_bits);
         b.set(CCER, r.enables);
         b.run(10);
         EXPECT_EQ((b.levels[{0, false}]), r.pad) << r.break_bits << ' ' << r.enables;
         EXPECT_EQ((b.levels[{0, true}]), r.pad_n) << r.break_bits << ' ' << r.enables;
       }
     }},
    {"PolarityOfBothPads",
     [] {
       TimerBench b;
       b.set(CCMR1, 0x50);
       b.set(CCER, 0xf);
       b.set(BDTR, bdtr::MOE);
       EXPECT_EQ((b.levels[{0, false}]), Level::low);
       EXPECT_EQ((b.levels[{0, true}]), Level::high);
     }},
    {"IdleLevelsThatWouldSwitchBothOnAreNotTaken",
     [] {
       TimerBench b;
       b.set(CR2, 3u << 8);
       b.set(CCER, 5);
       b.set(BDTR, bdtr::OSSI);
       b.run(10);
       EXPECT_EQ((b.levels[{0, false}]), Level::low);
       EXPECT_EQ((b.levels[{0, true}]), Level::low);
     }},
    // --- break ---------------------------------------------------------------------------------
    {"BreakStopsAtOnceAndRestsAfterTheDeadTime",
     [] {
       TimerBench b;
       b.set(CR2, 1u << 9);  // OC1N idles high: the low switch brakes
       start_bridge(b, 50, bdtr::BKE | bdtr::BKP | bdtr::OSSI);
       b.set(DIER, flag::B);
       b.run(2101);
       b.pad_changes.clear();
       b.timer.break_input(true, b.now);
       EXPECT_EQ(b.pads(0), "2101-");
       EXPECT_TRUE(b.interrupts[TimerInterrupt::stop]);
       b.run(5000);
       EXPECT_EQ(b.pads(0), "2101-");
       EXPECT_EQ(b.pads(0, true), "2151+");
       b.set(SR, 0);  // the cause is still there
       EXPECT_EQ(b.get(SR) & flag::B, flag::B);
       b.set(BDTR, b.get(BDTR) | bdtr::MOE);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, 0u);
       b.timer.break_input(false, b.now);
       b.set(SR, 0);
       EXPECT_EQ(b.get(SR) & flag::B, 0u);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, 0u);
     }},
    {"AutomaticOutputEnableComesWithTheUpdate",
     [] {
       TimerBench b;
       start_bridge(b, 50, bdtr::BKE | bdtr::BKP | bdtr::AOE);
       b.run(500);
       b.timer.break_input(true, 500);
       b.run(1500);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, 0u);
       b.timer.break_input(false, 1500);
       b.run(2000);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, 0u);
       b.run(2001);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, bdtr::MOE);
     }},
    {"BreakBySoftware",
     [] {
       TimerBench b;
       start_bridge(b, 50);
       b.set(EGR, flag::B);
       EXPECT_EQ((b.levels[{0, false}]), Level::released);
       EXPECT_EQ(b.get(BDTR) & bdtr::MOE, 0u);
     }},
    {"LockKeepsDeadTimePolarityAndIdleLevels",
     [] {
       TimerBench b;
       b.set(BDTR, 2u << 8 | 0x33);
       b.set(BDTR, bdtr::MOE | 0x44);
       EXPECT_EQ(b.get(BDTR), bdtr::MOE | 2u << 8 | 0x33);
       b.set(CCER, 0xf);
       EXPECT_EQ(b.get(CCER), 5u);
       b.set(CR2, 0x7f00);
       EXPECT_EQ(b.get(CR2), 0u);
     }},
    // --- commutation -----------------------------------------------------------------------------
    {"ModesAndEnablesWaitForTheCommutation",
     [] {
       TimerBench b;
       b.set(ARR, 99);
       b.set(CCR1, 50);
       b.set(CR2, cr2::CCPC);
       b.set(CCMR1, 0x58);
       b.set(CCER, 5);
       b.set(BDTR, bdtr::MOE);
       b.run(10);
       EXPECT_EQ(b.pads(0), "");
       b.set(DIER, flag::COM);
       b.set(EGR, flag::COM);
       EXPECT_EQ(b.pads(0), "10+");
       EXPECT_TRUE(b.interrupts[TimerInterrupt::trigger]);
     }},
    {"CommutationByTheTriggerInput",
     [] {
       TimerBench b;
       b.set(CR2, cr2::CCPC | cr2::CCUS);
       b.set(SMCR, 2u << 4);
       b.set(CCMR1, 0x58);
       b.set(CCER, 1);
       b.set(BDTR, bdtr::MOE);
       b.timer.internal_trigger(1, true, 5);
       EXPECT_EQ(b.pads(0), "");
       b.timer.internal_trigger(2, true, 7);
       EXPECT_EQ(b.pads(0), "7+");
     }},
    // --- triggers
    // ----------------------------------------------------------------------------------
    {"TriggerOutputs",
     [] {
       struct Case {
         Word source;
         const char* moments;
       };
       for (const Case c : {Case{1, "0"}, {2, "11 21"}, {3, "5 15"}, {4, "11 21"}, {5, ""}}) {
         TimerBench b(general);
         b.set(ARR, 9);
         b.set(CCR1, 4);
         b.set(CCMR1, 0x60);
         b.set(CR2, c.source << 4);
         b.triggers.clear();
         b.set(CR1, cr1::CEN);
         b.run(24);
         EXPECT_EQ(TimerBench::list(b.triggers), c.moments) << c.source;
       }
     }},
    {"SlaveIsResetGatedStartedAndClocked",
     [] {
       for (const Word mode : {4u, 5u, 6u, 7u}) {
         TimerBench b(general);
         b.set(SMCR, mode | 1u << 4);
         if (mode != 6) b.set(CR1, cr1::CEN);
         b.run(100);
         b.timer.internal_trigger(1, true, 100);
         b.run(120);
         b.timer.internal_trigger(1, false, 120);
         b.run(150);
         const Word expected[] = {50, 20, 49, 1};
         EXPECT_EQ(b.get(CNT), expected[mode - 4]) << mode;
         EXPECT_EQ(b.get(SR) & flag::T, flag::T);
       }
     }},
    // --- inputs ---------------------------------------------------------------------------------
    {"EncoderCountsAsTheTableSays",
     [] {
       // TI1 ahead of TI2, one turn of the four states: edges of TI2, of TI1, of both.
       for (const bool forward : {true, false})
         for (const unsigned mode : {1u, 2u, 3u}) {
           TimerBench b(general);
           b.set(ARR, 999);
           b.set(CNT, 500);
           b.set(CCMR1, 0x0101);
           b.set(SMCR, mode);
           b.set(CR1, cr1::CEN);
           for (unsigned i = 1; i <= 4; ++i) {
             const unsigned state = forward ? i & 3 : (4 - i) & 3;
             b.timer.input(0, state == 1 || state == 2, 10 * i);
             b.timer.input(1, state == 2 || state == 3, 10 * i);
           }
           b.now = 50;
           const int expected = (mode == 3 ? 4 : 2) * (forward ? 1 : -1);
           EXPECT_EQ(static_cast<int>(b.get(CNT)) - 500, expected) << mode;
           EXPECT_EQ(b.get(CR1) & cr1::DIR, forward ? 0 : cr1::DIR);
         }
     }},
    {"EncoderWrapsAndInverts",
     [] {
       TimerBench b(general);
       b.set(ARR, 999);
       b.set(CCMR1, 0x0101);
       b.set(CCER, 2);  // TI1 inverted: backwards
       b.set(SMCR, 3);
       b.set(DIER, flag::U);
       b.set(CR1, cr1::CEN);
       b.timer.input(0, true, 10);
       b.now = 11;
       EXPECT_EQ(b.get(CNT), 999u);
       EXPECT_TRUE(b.interrupts[TimerInterrupt::all]);
       b.timer.input(0, false, 20);
       EXPECT_EQ(b.get(CNT), 0u);
     }},
    {"CaptureOfEachEdge",
     [] {
       struct Case {
         Word enables, expected;
       };
       for (const Case c : {Case{0x1, 29}, {0x3, 69}, {0xb, 109}}) {
         TimerBench b(general);
         b.set(CCMR1, 1);
         b.set(CCER, c.enables);
         b.set(CR1, cr1::CEN);
         b.timer.input(0, true, 30);
         b.timer.input(0, false, 70);
         if (c.enables == 0xb) b.timer.input(0, true, 110);
         b.now = 120;
         EXPECT_EQ(b.get(SR) & flag::CCOF(0), c.enables == 0xb ? flag::CCOF(0) : 0) << c.enables;
         EXPECT_EQ(b.get(SR) & flag::CC(0), flag::CC(0));
         EXPECT_EQ(b.get(CCR1), c.expected) << c.enables;
         EXPECT_EQ(b.get(SR) & flag::CC(0), 0u);  // reading the capture clears its flag
       }
     }},
    {"CaptureOfTheSiblingsPin",
     [] {
       TimerBench b(general);
       b.set(CCMR1, 0x0201);  // channel 1 from TI1, channel 2 from TI1: period and pulse
       b.set(CCER, 0x31);     // rising, falling
       b.set(CR1, cr1::CEN);
       b.timer.input(0, true, 30);
       b.timer.input(0, false, 45);
       b.now = 50;
       EXPECT_EQ(b.get(CCR1), 29u);
       EXPECT_EQ(b.get(CCR1 + 4), 44u);
     }},
    {"EveryEighthEdge",
     [] {
       TimerBench b(general);
       b.set(CCMR1, 0x0d);
       b.set(CCER, 1);
       b.set(DIER, flag::DE(flag::CC(0)));
       b.set(CR1, cr1::CEN);
       for (unsigned i = 1; i <= 20; ++i) {
         b.timer.input(0, true, 10 * i);
         b.timer.input(0, false, 10 * i + 5);
       }
       EXPECT_EQ(b.requests[TimerRequest::channel1], (std::vector<Cycle>{80, 160}));
     }},
    {"FilterDelaysAndSwallows",
     [] {
       struct Case {
         Word setting;
         Cycle delay;
       };
       for (const Case c : {Case{0, 0}, {1, 2}, {3, 8}, {4, 12}, {15, 256}}) {
         EXPECT_EQ(filter_delay(static_cast<unsigned>(c.setting), 1), c.delay);
         TimerBench b(general);
         b.set(CCMR1, 1 | c.setting << 4);
         b.set(CCER, 1);
         b.set(CR1, cr1::CEN);
         if (c.delay != 0) {
           b.run(100);
           b.timer.input(0, true, 100);
           b.run(100 + c.delay - 1);
           b.timer.input(0, false, b.now);
         }
         b.run(1000);
         EXPECT_EQ(b.get(SR) & flag::CC(0), 0u);
         b.timer.input(0, true, 1000);
         b.run(2000);
         EXPECT_EQ(b.get(CCR1), 999 + c.delay) << c.setting;
       }
     }},
    {"HallInterfaceMeasuresBetweenEdges",
     [] {
       // The three inputs as one; each edge captures the count and starts it anew.
       TimerBench b(general);
       b.set(CR2, cr2::TI1S);
       b.set(CCMR1, 3);  // TRC
       b.set(CCER, 1);
       b.set(SMCR, 4 | 4u << 4);
       b.set(DIER, flag::CC(0));
       b.set(CR1, cr1::CEN | cr1::URS);
       const struct {
         unsigned pin;
         bool level;
         Cycle at;
       } edges[] = {{0, true, 100}, {1, true, 250}, {0, false, 500}, {2, true, 900}};
       const Word expected[] = {99, 150, 250, 400};
       for (int i = 0; i < 4; ++i) {
         b.run(edges[i].at);
         b.timer.input(edges[i].pin, edges[i].level, edges[i].at);
         EXPECT_TRUE(b.interrupts[TimerInterrupt::all]);
         EXPECT_EQ(b.get(CCR1), expected[i]);
         EXPECT_FALSE(b.interrupts[TimerInterrupt::all]);
       }
       EXPECT_EQ(b.get(SR) & flag::U, 0u);
     }},
    {"ExternalClock",
     [] {
       TimerBench b;
       b.set(SMCR, smcr::ECE);
       b.set(CR1, cr1::CEN);
       for (unsigned i = 1; i <= 5; ++i) {
         b.timer.external_trigger(true, 10 * i);
         b.timer.external_trigger(false, 10 * i + 5);
       }
       b.now = 100;
       EXPECT_EQ(b.get(CNT), 5u);
     }},
    // --- registers
    // --------------------------------------------------------------------------------
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
