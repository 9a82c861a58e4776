// Converters and DMA against the reference manual (RM0090) and the datasheet's conversion times;
// numbers from memory.
#include <gtest/gtest.h>

#include <map>
#include <string>
#include <vector>

#include "io/mcu/cortexm/adc/adc.hpp"
#include "io/mcu/cortexm/dma/dma.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace adc_register;

/// Three converters at a bus clock of two cycles, prescaler 4: eight cycles a converter clock.
/// Inputs give 100 x channel + 1000 x converter, or what is set.
struct AdcBench : AdcListener {
  AdcBench() {
    adc.set_bus_clock(2, 0);
    set(CCR, 1u << 16);
  }
  void set(Word offset, Word value) { adc.write(offset, value, ~Word{0}, now); }
  Word get(Word offset) { return adc.read(offset, now); }
  void run(Cycle until) {
    while (scheduler.next() <= until) {
      now = scheduler.next();
      scheduler.run_due(now);
    }
    now = until;
  }
  unsigned sample(unsigned converter, unsigned channel, Cycle at) noexcept override {
    samples += std::to_string(converter + 1) + ":" + std::to_string(channel) + "@" +
               std::to_string(at) + " ";
    return code ? code : 1000 * converter + 100 * channel;
  }
  void interrupt(bool high, Cycle at) noexcept override {
    line = high;
    if (high) interrupts.push_back(at);
  }
  bool request(unsigned converter, Cycle at) noexcept override {
    if (keep_waiting) return false;
    transfers.push_back(adc.read(converter == 0 && common ? CDR : DR + window * converter, at));
    return transfers.size() == last_transfer;
  }
  void not_modelled(const char*, Cycle) noexcept override { ++unmodelled; }

  Cycle now = 0, slice = never;
  Scheduler scheduler{slice};
  std::string samples;
  unsigned code = 0;
  bool line = false, common = false, keep_waiting = false;
  std::vector<Cycle> interrupts;
  std::vector<Word> transfers;
  std::size_t last_transfer = 0;
  int unmodelled = 0;
  Adc adc{scheduler, *this};
};

struct Rule {
  const char* name;
  void (*check)();
};
void PrintTo(const Rule& rule, std::ostream* out) { *out << rule.name; }

constexpr Word rising = 1u << 20;

const Rule rules[] = {
    {"AChannelThatIsNotThereHasTheShortestWindow",
     [] {
       AdcBench b;
       b.set(SMPR1, ~Word{0});
       b.set(SQR3, 31);
       b.set(CR2, cr2::ADON);
       b.set(CR2, cr2::ADON | cr2::SWSTART);
       b.run(10000);
       EXPECT_EQ(b.samples, "1:31@40 ");  // two clocks of start, three of window
     }},
    {"SampleAtTheWindowsEndAndCodeTwelveClocksLater",
     [] {
       constexpr unsigned windows[] = {3, 15, 28, 56, 84, 112, 144, 480};
       for (Word w = 0; w < 8; ++w) {
         AdcBench b;
         b.set(SMPR2, w << 9);
         b.set(SQR3, 3);
         b.set(CR1, cr1::EOCIE);
         b.set(CR2, cr2::ADON);
         b.set(CR2, cr2::ADON | cr2::SWSTART);
         b.run(10000);
         // The start is two converter clocks on.
         const Cycle sampled = 8 * (2 + windows[w]);
         EXPECT_EQ(b.samples, "1:3@" + std::to_string(sampled) + " ");
         EXPECT_EQ(b.interrupts, (std::vector<Cycle>{sampled + 96}));
         EXPECT_EQ(b.get(SR), sr::EOC | sr::STRT);
         EXPECT_EQ(b.get(DR), 300u);
         EXPECT_FALSE(b.line);
         EXPECT_EQ(b.get(SR), sr::STRT);
       }
     }},
    {"FewerBitsAreFasterAndCoarser",
     [] {
       for (Word res = 0; res < 4; ++res) {
         AdcBench b;
         b.code = 0xabc;
         b.set(CR1, res << 24 | cr1::EOCIE);
         b.set(CR2, cr2::ADON);
         b.set(CR2, cr2::ADON | cr2::SWSTART);
         b.run(1000);
         EXPECT_EQ(b.interrupts, (std::vector<Cycle>{8 * (2 + 3 + 12 - 2 * res)}));
         EXPECT_EQ(b.get(DR), 0xabcu >> (2 * res));
       }
     }},
    {"InjectedSequenceStartsWithTheTimersEdge",
     [] {
       AdcBench b;
       b.set(CR1, cr1::SCAN | cr1::JEOCIE);
       b.set(JSQR, 1u << 20 | 5u << 15 | 4u << 10);  // two: JSQ3, JSQ4
       b.set(CR2, cr2::ADON | rising);
       b.adc.trigger(Group::injected, 0, false, 100);  // falling
       b.adc.trigger(Group::injected, 1, true, 110);   // another source
       b.run(200);
       EXPECT_EQ(b.samples, "");
       b.adc.trigger(Group::injected, 0, true, 203);
       b.run(1000);
       // Clock edges at multiples of 8; three after 203: 224; a window of 3; 15 clocks each.
       EXPECT_EQ(b.samples, "1:4@248 1:5@368 ");
       EXPECT_EQ(b.interrupts, (std::vector<Cycle>{224 + 8 * 30}));
       EXPECT_EQ(b.get(JDR1), 400u);
       EXPECT_EQ(b.get(JDR1 + 4), 500u);
       EXPECT_EQ(b.get(SR), sr::JEOC | sr::JSTRT);
     }},
    {"ACodeWithinAnInjectedSequenceIsThereWithoutAnEvent",
     [] {
       AdcBench b;
       b.set(CR1, cr1::SCAN);
       b.set(JSQR, 1u << 20 | 5u << 15 | 4u << 10);
       b.set(CR2, cr2::ADON | rising);
       b.adc.trigger(Group::injected, 0, true, 0);
       // Sampled at 24 + 24, there 12 clocks later; the next window would end at 168.
       b.run(143);
       EXPECT_EQ(b.get(JDR1), 0u);
       EXPECT_EQ(b.scheduler.next(), 168u);
       b.run(144);
       EXPECT_EQ(b.get(JDR1), 400u);
     }},
    {"AWindowThatIsChangedBeforeItBeginsIsTheNewOne",
     [] {
       for (const Cycle changed_at : {100u, 150u}) {
         AdcBench b;
         b.set(CR1, cr1::SCAN);
         b.set(JSQR, 1u << 20 | 5u << 15 | 4u << 10);
         b.set(CR2, cr2::ADON | rising);
         b.adc.trigger(Group::injected, 0, true, 0);
         b.run(changed_at);
         b.set(SMPR2, 1u << 15);  // channel 5: 15 clocks, from 144 on where that is to come
         b.run(1000);
         EXPECT_EQ(b.samples, changed_at < 144 ? "1:4@48 1:5@264 " : "1:4@48 1:5@168 ");
         EXPECT_EQ(b.get(JDR1), 400u);
       }
     }},
    {"EdgesOfTriggers",
     [] {
       for (Word edges = 0; edges < 4; ++edges) {
         AdcBench b;
         b.set(CR2, cr2::ADON | edges << 28 | 6u << 24);
         b.adc.trigger(Group::regular, 6, true, 0);
         b.run(500);
         b.adc.trigger(Group::regular, 6, false, 500);
         b.run(1000);
         const char* const expected[] = {"", "1:0@40 ", "1:0@536 ", "1:0@40 1:0@536 "};
         EXPECT_EQ(b.samples, expected[edges]);
       }
     }},
    {"AnInjectedSequenceBreaksIntoARegularOne",
     [] {
       AdcBench b;
       b.set(CR1, cr1::SCAN);
       b.set(SQR1, 1u << 20);
       b.set(SQR3, 1 | 2u << 5);
       b.set(JSQR, 7u << 15);
       b.set(CR2, cr2::ADON);
       b.set(CR2, cr2::ADON | cr2::SWSTART);
       b.run(150);  // in the second conversion
       b.set(CR2, cr2::ADON | cr2::JSWSTART);
       b.run(1000);
       // Injected from 168; the second regular conversion is done again from 288.
       EXPECT_EQ(b.samples, "1:1@40 1:7@192 1:2@312 ");
       EXPECT_EQ(b.get(SR), sr::EOC | sr::STRT | sr::JEOC | sr::JSTRT);
     }},
    {"InjectedFollowsRegularWithJAUTO",
     [] {
       AdcBench b;
       b.set(CR1, cr1::JAUTO);
       b.set(JSQR, 7u << 15);
       b.set(CR2, cr2::ADON);
       b.set(CR2, cr2::ADON | cr2::SWSTART);
       b.run(1000);
       EXPECT_EQ(b.samples, "1:0@40 1:7@160 ");
     }},
    {"ContinuousWithoutAGap",
     [] {
       AdcBench b;
       b.set(CR2, cr2::ADON | cr2::CONT);
       b.set(CR2, cr2::ADON | cr2::CONT | cr2::SWSTART);
       b.run(300);
       EXPECT_EQ(b.samples, "1:0@40 1:0@160 1:0@280 ");
     }},
    {"PieceByPiece",
     [] {
       AdcBench b;
       b.set(CR1, cr1::SCAN | cr1::DISCEN | 1u << 13);  // two at a time, of three
       b.set(SQR1, 2u << 20);
       b.set(SQR3, 1 | 2u << 5 | 3u << 10);
       b.set(CR2, cr2::ADON);
       for (int i = 0; i < 3; ++i) {
         b.set(CR2, cr2::ADON | cr2::SWSTART);
         b.run(b.now + 800);
       }
       EXPECT_EQ(b.samples, "1:1@40 1:2@160 1:3@840 1:1@1640 1:2@1760 ");
     }},
    {"OffsetsAndAlignment",
     [] {
       AdcBench b;
       b.code = 0x800;
       b.set(JSQR, 0);
       b.set(JOFR1, 0x801);
       b.set(CR2, cr2::ADON);
       b.set(CR2, cr2::ADON | cr2::JSWSTART);
       b.run(1000);
       EXPECT_EQ(b.get(JDR1), 0xffffu);
       b.set(CR2, cr2::ADON | cr2::ALIGN | cr2::JSWSTART);
       b.run(2000);
       EXPECT_EQ(b.get(JDR1), 0xfff8u);
       b.set(CR2, cr2::ADON | cr2::ALIGN | cr2::SWSTART);
       b.run(3000);
       EXPECT_EQ(b.get(DR), 0x8000u);
     }},
    {"WatchdogLooksAtItsChannels",
     [] {
       struct Case {
         unsigned code;
         Word control;
         bool barks;
       };
       for (const Case c : {Case{500, cr1::AWDEN, false},
                            {501, cr1::AWDEN, true},
                            {99, cr1::AWDEN, true},
                            {501, 0, false},
                            {501, cr1::AWDEN | cr1::AWDSGL | 3, false},
                            {501, cr1::AWDEN | cr1::AWDSGL, true},
                            {501, cr1::JAWDEN, false}}) {
         AdcBench b;
         b.code = c.code;
         b.set(HTR, 500);
         b.set(LTR, 100);
         b.set(CR1, c.control | cr1::AWDIE);
         b.set(CR2, cr2::ADON);
         b.set(CR2, cr2::ADON | cr2::SWSTART);
         b.run(1000);
         EXPECT_EQ(b.line, c.barks) << c.code << ' ' << c.control;
       }
     }},
    {"DataThatNobodyTookIsToldAsOverrun",
     [] {
       AdcBench b;
       b.set(CR1, cr1::OVRIE);
       b.set(CR2, cr2::ADON | cr2::EOCS | cr2::CONT);
       b.set(CR2, cr2::ADON | cr2::EOCS | cr2::CONT | cr2::SWSTART);
       b.run(10000);
       EXPECT_EQ(b.interrupts, (std::vector<Cycle>{16 + 240}));
       EXPECT_EQ(b.samples, "1:0@40 1:0@160 ");  // and it has stopped
       EXPECT_EQ(b.get(SR) & sr::OVR, sr::OVR);
     }},
    {"RequestsEndWithTheLastTransferUnlessDDS",
     [] {
       for (const Word dds : {Word{0}, cr2::DDS}) {
         AdcBench b;
         b.last_transfer = 2;
         b.set(CR2, cr2::ADON | cr2::DMA | dds | cr2::CONT);
         b.set(CR2, cr2::ADON | cr2::DMA | dds | cr2::CONT | cr2::SWSTART);
         b.run(16 + 120 * 5);
         EXPECT_EQ(b.transfers.size(), dds != 0 ? 5u : 2u);
       }
     }},
    {"SimultaneousInjected",
     [] {
       AdcBench b;
       b.set(CCR, 1u << 16 | 5u | 16u);
       for (unsigned i = 0; i < 3; ++i) {
         b.set(i * window + JSQR, (i + 1) << 15);
         b.set(i * window + CR2, cr2::ADON | (i == 0 ? rising : 0));
       }
       b.adc.trigger(Group::injected, 0, true, 0);
       b.run(1000);
       EXPECT_EQ(b.samples, "1:1@48 2:2@48 3:3@48 ");
       EXPECT_EQ(b.get(CSR), 0x0c0c0cu);
       EXPECT_EQ(b.get(2 * window + JDR1), 2300u);
     }},
    {"SimultaneousRegularWithCommonData",
     [] {
       AdcBench b;
       b.common = true;
       b.set(CCR, 1u << 16 | 6u | 2u << 14 | 1u << 13);
       b.set(SQR3, 4);
       b.set(window + SQR3, 5);
       b.set(window + CR2, cr2::ADON);
       b.set(CR2, cr2::ADON | cr2::SWSTART);
       b.run(1000);
       EXPECT_EQ(b.samples, "1:4@40 2:5@40 ");
       EXPECT_EQ(b.transfers, (std::vector<Word>{400u | 1500u << 16}));
       b.set(CCR, 1u << 16 | 7u);
       EXPECT_EQ(b.unmodelled, 1);
     }},
    {"OffStopsIt",
     [] {
       AdcBench b;
       b.set(CR2, cr2::SWSTART);  // not switched on
       b.set(CR2, cr2::ADON | cr2::CONT);
       b.set(CR2, cr2::ADON | cr2::CONT | cr2::SWSTART);
       b.run(100);
       b.set(CR2, 0);
       b.run(1000);
       EXPECT_EQ(b.samples, "1:0@40 ");
     }},
};

class Converters : public testing::TestWithParam<Rule> {};
TEST_P(Converters, Rule) { GetParam().check(); }
INSTANTIATE_TEST_SUITE_P(RM0090, Converters, testing::ValuesIn(rules),
                         [](const auto& rule) { return rule.param.name; });

// --- DMA ------------------------------------------------------------------------------------

struct DmaBench : DmaListener {
  bool load(Word address, unsigned size, Word& value, Cycle) noexcept override {
    value = address == 0x40000000 ? next_value++ : memory[address];
    loads += std::to_string(size);
    return address != bad;
  }
  bool store(Word address, unsigned, Word value, Cycle) noexcept override {
    memory[address] = value;
    return address != bad;
  }
  void interrupt(unsigned stream, bool high, Cycle) noexcept override {
    lines[stream] = high;
    rises += high;
  }
  void set(unsigned stream, Word offset, Word value) {
    dma.write(0x10 + 0x18 * stream + offset, value, ~Word{0}, 0);
  }
  Word get(unsigned stream, Word offset) { return dma.read(0x10 + 0x18 * stream + offset, 0); }

  Cycle slice = never;
  Scheduler scheduler{slice};
  std::map<Word, Word> memory;
  std::map<unsigned, bool> lines;
  Word next_value = 1, bad = 1;
  int rises = 0;
  std::string loads;
  Dma dma{scheduler, *this, true};
};

constexpr Word peripheral = 0x40000000, ram = 0x20000000, halves = 1u << 11 | 1u << 13,
               circular = 1u << 8, memory_on = 1u << 10, all_interrupts = 0x1e;

TEST(Dma, FillsARingAndTellsHalfAndEnd) {
  DmaBench b;
  b.set(3, 0x04, 4);
  b.set(3, 0x08, peripheral);
  b.set(3, 0x0c, ram);
  b.set(3, 0x00, 2u << 25 | halves | circular | memory_on | all_interrupts | 1);
  EXPECT_FALSE(b.dma.request(3, 1, 0));  // another channel
  EXPECT_FALSE(b.dma.request(2, 2, 0));  // another stream
  std::vector<bool> half, full;
  for (int i = 0; i < 6; ++i) {
    EXPECT_EQ(b.dma.request(3, 2, 0), static_cast<Word>(3 - i % 4));
    half.push_back(b.dma.read(0, 0) >> 22 & 1u << 4);
    full.push_back(b.dma.read(0, 0) >> 22 & 1u << 5);
    b.dma.write(0x08, 0x3du << 22, ~Word{0}, 0);
    EXPECT_FALSE(b.lines[3]);
  }
  EXPECT_EQ(half, (std::vector<bool>{false, true, false, false, false, true}));
  EXPECT_EQ(full, (std::vector<bool>{false, false, false, true, false, false}));
  EXPECT_EQ(b.rises, 3);
  EXPECT_EQ(b.loads, "222222");
  EXPECT_EQ(b.memory[ram], 5u);
  EXPECT_EQ(b.memory[ram + 6], 4u);
  EXPECT_EQ(b.get(3, 4), 2u);
}

TEST(Dma, StopsAtItsEndOrAtABusError) {
  for (const bool error : {false, true}) {
    DmaBench b;
    if (error) b.bad = ram + 4;
    b.set(7, 0x04, 2);
    b.set(7, 0x08, peripheral);
    b.set(7, 0x0c, ram);
    b.set(7, 0x00, 2u << 11 | memory_on | all_interrupts | 1);
    for (int i = 0; i < 4; ++i) b.dma.request(7, 0, 0);
    EXPECT_EQ(b.next_value, 3u);
    EXPECT_EQ(b.get(7, 0) & 1, 0u);
    EXPECT_EQ(b.dma.read(4, 0) >> 22, error ? 0x18u : 0x30u);
    EXPECT_EQ(b.lines[7], true);
  }
}

TEST(Dma, ChangesBetweenTwoBuffers) {
  DmaBench b;
  b.set(0, 0x04, 2);
  b.set(0, 0x08, peripheral);
  b.set(0, 0x0c, ram);
  b.set(0, 0x10, ram + 0x100);
  b.set(0, 0x00, halves | memory_on | 1u << 18 | 1);
  for (int i = 0; i < 3; ++i) b.dma.request(0, 0, 0);
  EXPECT_EQ(b.memory[ram + 0x100], 3u);
  EXPECT_EQ(b.get(0, 0) & 1u << 19, 1u << 19);
  b.set(0, 0x0c, ram + 0x200);  // not in use: may be changed
  b.set(0, 0x10, ram + 0x300);  // in use: may not
  b.set(0, 0x04, 9);
  for (int i = 0; i < 2; ++i) b.dma.request(0, 0, 0);
  EXPECT_EQ(b.memory[ram + 0x102], 4u);
  EXPECT_EQ(b.memory[ram + 0x200], 5u);
}

TEST(Dma, CopiesMemoryWithoutRequests) {
  DmaBench b;
  for (Word i = 0; i < 5; ++i) b.memory[ram + 4 * i] = 7 + i;
  b.set(1, 0x04, 5);
  b.set(1, 0x08, ram);
  b.set(1, 0x0c, ram + 0x80);
  b.set(1, 0x00, 2u << 11 | 2u << 6 | 1u << 9 | memory_on | 1);
  while (b.scheduler.next() != never) b.scheduler.run_due(b.scheduler.next());
  for (Word i = 0; i < 5; ++i) EXPECT_EQ(b.memory[ram + 0x80 + 4 * i], 7 + i);
  EXPECT_EQ(b.dma.read(0, 0) >> 6 & 0x3d, 0x30u);
}

}  // namespace
}  // namespace stillrotor::io::cortexm
