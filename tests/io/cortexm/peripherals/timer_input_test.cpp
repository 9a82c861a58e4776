// Timers against the reference manual (RM0090): triggers, encoders, captures; moments to the
// timer's clock. Chapters beside the cases, from memory.
#include "tests/io/cortexm/peripherals/timer_rules.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace timer_register;

const Rule rules[] = {
    // --- triggers ------------------------------------------------------------
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
};

class TimerInputs : public testing::TestWithParam<Rule> {};
TEST_P(TimerInputs, Rule) { GetParam().check(); }
INSTANTIATE_TEST_SUITE_P(RM0090, TimerInputs, testing::ValuesIn(rules),
                         [](const auto& rule) { return rule.param.name; });

}  // namespace
}  // namespace stillrotor::io::cortexm
