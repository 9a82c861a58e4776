// Timers against the reference manual (RM0090): complementary outputs, break, commutation; moments
// to the timer's clock. Chapters beside the cases, from memory.
#include "tests/io/cortexm/peripherals/timer_rules.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace timer_register;

const Rule rules[] = {
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
};

class TimerOutputs : public testing::TestWithParam<Rule> {};
TEST_P(TimerOutputs, Rule) { GetParam().check(); }
INSTANTIATE_TEST_SUITE_P(RM0090, TimerOutputs, testing::ValuesIn(rules),
                         [](const auto& rule) { return rule.param.name; });

}  // namespace
}  // namespace stillrotor::io::cortexm
