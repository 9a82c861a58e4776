// SPI, I2C and the partners at their pins, by the registers that firmware writes (RM0090, 27 and
// 28, sections from memory).
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "io/mcu/cortexm/board/board.hpp"
#include "io/mcu/cortexm/board/eeprom.hpp"
#include "io/mcu/cortexm/board/gate_driver.hpp"
#include "tests/io/cortexm/bare_chip.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace std::chrono_literals;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr PinId PA4{0, 4}, PA5{0, 5}, PA6{0, 6}, PA7{0, 7}, PB6{1, 6}, PB7{1, 7};
constexpr Word A = 0x40020000, B = 0x40020400, dma1 = 0x40026000, dma2 = 0x40026400;

/// The chip with a board of partners around it; at 16 MHz, a cycle is 62.5 ns.
struct BoardBench {
  explicit BoardBench(const EepromConfig& config = {})
      : eeprom(config), bare(idle_program(), {.driven = [this](PinId pin, Level level, Time at) {
                               if (pin == PA5) clock.push_back(at);
                               if (board.holds(pin)) board.driven(pin, level, at);
                             }}) {
    board.add(eeprom, {PB6, PB7});
    board.add(driver, {PA5, PA7, PA6, PA4});
    board.start([this](PinId pin, Level level) { bare.chip.set_input(pin, level); }, {});
    bare.clock_everything();
  }
  void set(Word address, Word value) { bare.set(address, value); }
  Word get(Word address) { return bare.get(address); }
  /// Runs until that bit stands; false: it does not within some milliseconds.
  bool wait(Word address, Word bit) {
    for (int i = 0; i < 20'000; ++i) {
      if (get(address) & bit) return true;
      bare.run(500ns);
    }
    return false;
  }
  GateDriver driver;
  Eeprom eeprom;
  Board board;
  std::vector<Time> clock;
  BareChip bare;
};

// --- SPI ------------------------------------------------------------------------------------

struct SpiBench : BoardBench {
  static constexpr Word base = 0x40013000, CR1 = base, CR2 = base + 4, SR = base + 8,
                        DR = base + 0xc;
  static constexpr Word master = 0x344, sixteen = 0x800;  // SSM, SSI, SPE, MSTR
  SpiBench() {
    set(A + 0x20, 5u << 20 | 5u << 24 | 5u << 28);              // PA5 to PA7
    set(A + 0x18, 1u << 4);                                     // select high
    set(A, get(A) | 1u << 8 | 2u << 10 | 2u << 12 | 2u << 14);  // PA4 an output
  }
  void select(bool on) { set(A + 0x18, on ? 1u << 20 : 1u << 4); }
  Word exchange(Word out) {
    set(DR, out);
    EXPECT_TRUE(wait(SR, 1));
    return get(DR);
  }
  Word frame(Word out) {
    select(true);
    const Word in = exchange(out);
    select(false);
    return in;
  }
};

constexpr Word read_status = 0x8000, read_control = 0x8800, enable = 0x0801, clear = 0x0803;

TEST(CortexSpi, TalksToAGateDriverInItsMode) {
  SpiBench b;
  b.set(SpiBench::CR1, SpiBench::master | SpiBench::sixteen | 1);
  EXPECT_FALSE(b.driver.enabled());
  EXPECT_EQ(b.frame(read_status), 0u);
  EXPECT_EQ(b.frame(enable), 0u) << "the register as it was";
  EXPECT_TRUE(b.driver.enabled());
  EXPECT_EQ(b.frame(read_status), 1u);
  EXPECT_EQ(b.frame(read_control), 1u);
  b.driver.trip(true);
  EXPECT_EQ(b.frame(read_status), 0x701u);
  b.driver.trip(false);
  EXPECT_EQ(b.frame(read_status), 0x601u) << "kept";
  b.frame(clear);
  EXPECT_EQ(b.frame(read_status), 1u);
  b.frame(2u << 11 | 0x5a5);
  EXPECT_EQ(b.frame(read_status | 2u << 11), 0x5a5u);
}

// 28.3.1: bits that are taken where the other side changes them are off by one. Modes 1 and 2 take
// them at the same edge, the falling one.
TEST(CortexSpi, AtTheOtherEdgeItIsNotUnderstood) {
  for (const Word mode : {0u, 2u, 3u}) {
    SpiBench b;
    b.set(SpiBench::CR1, SpiBench::master | SpiBench::sixteen | mode);
    b.frame(enable);
    b.frame(2u << 11 | 0x5a5);
    const bool written = b.frame(read_status | 2u << 11) == 0x5a5u && b.driver.enabled();
    EXPECT_EQ(written, mode == 2) << mode;
  }
}

TEST(CortexSpi, TwoBytesAreAFrameToo) {
  SpiBench b;
  b.set(SpiBench::CR1, SpiBench::master | 1);
  b.select(true);
  b.exchange(enable >> 8);
  b.exchange(enable & 0xff);
  b.select(false);
  EXPECT_TRUE(b.driver.enabled());
  b.select(true);
  b.exchange(0);
  b.select(false);
  b.select(true);
  const Word high = b.exchange(read_status >> 8), low = b.exchange(0);
  b.select(false);
  EXPECT_EQ(high << 8 | low, 0x481u) << "a frame of a wrong length";
}

// 28.5.1: fPCLK by 2 to 256; a frame of n bits has 2n edges.
TEST(CortexSpi, ItsClockIsTheBusDivided) {
  for (Word rate = 0; rate < 8; ++rate) {
    SpiBench b;
    b.set(SpiBench::CR1, SpiBench::master | rate << 3 | 1);
    b.clock.clear();
    b.frame(0xff);
    ASSERT_EQ(b.clock.size(), 16u) << rate;
    EXPECT_EQ(b.clock[15] - b.clock[0], Time{15 * (62'500l << rate)}) << rate;
  }
}

// 28.3.10, 28.5.3.
TEST(CortexSpi, TellsOverrunAndALostSelect) {
  SpiBench b;
  b.set(SpiBench::CR1, SpiBench::master | 1);
  for (int i = 0; i < 2; ++i) {
    b.set(SpiBench::DR, 1);
    b.bare.run(20us);
  }
  EXPECT_EQ(b.get(SpiBench::SR) & 0xc3u, 0x43u);
  b.get(SpiBench::DR);
  b.get(SpiBench::SR);
  EXPECT_EQ(b.get(SpiBench::SR) & 0xc3u, 2u);
  b.set(SpiBench::CR1, 0x244);  // SSM without SSI
  EXPECT_EQ(b.get(SpiBench::SR) & 0x20u, 0x20u);
  EXPECT_EQ(b.get(SpiBench::CR1) & 0x44u, 0u);
  b.set(SpiBench::CR1, SpiBench::master);
  EXPECT_EQ(b.get(SpiBench::SR) & 0x20u, 0u);
}

TEST(CortexSpi, WithoutItsPinsNobodyHears) {
  SpiBench b;
  b.set(A + 0x20, 0);
  b.set(SpiBench::CR1, SpiBench::master | SpiBench::sixteen | 1);
  b.frame(enable);
  EXPECT_FALSE(b.driver.enabled());
  EXPECT_THAT(b.bare.chip.coverage(), HasSubstr("SPI1: a frame, and no pin carries its clock"));
}

void stream(BoardBench& b, Word dma, unsigned n, Word channel, Word data, Word memory, Word items,
            Word more) {
  const Word at = dma + 0x10 + 0x18 * n;
  b.set(at + 4, items);
  b.set(at + 8, data);
  b.set(at + 12, memory);
  b.set(at, channel << 25 | 1u << 10 | more | 1);
}

// 10.3.3: SPI1_RX is DMA2 stream 2 channel 3, SPI1_TX stream 3 channel 3.
TEST(CortexSpi, DmaCarriesFramesBothWays) {
  SpiBench b;
  const Word out = 0x20000100, in = 0x20000200, half = 1u << 11 | 1u << 13;
  b.bare.set(out, enable, 2);
  b.bare.set(out + 2, 0x1234, 2);
  b.set(SpiBench::CR2, 3);
  b.set(SpiBench::CR1, SpiBench::master | SpiBench::sixteen | 1);
  b.set(0xE000E100 + 4, 1u << (58 - 32));
  b.select(true);
  stream(b, dma2, 2, 3, SpiBench::DR, in, 2, half | 1u << 4);
  stream(b, dma2, 3, 3, SpiBench::DR, out, 2, half | 1u << 6);
  ASSERT_TRUE(b.wait(dma2, 1u << 21)) << "stream 2 has come to its end";
  b.select(false);
  EXPECT_EQ(b.get(dma2) >> 16 & 0x3f, 0x30u) << "no error";
  EXPECT_EQ(b.bare.get(in, 2), 0u);
  // 32 clocks in one selection: no frame of the driver's.
  EXPECT_FALSE(b.driver.enabled());
  EXPECT_EQ(b.get(SpiBench::SR) & 0xc3u, 2u);
}

TEST(CortexSpi, InterruptsFollowTheFlags) {
  SpiBench b;
  b.set(SpiBench::CR1, SpiBench::master | 1);
  const auto pending = [&] { return (b.get(0xE000E200 + 4) >> (35 - 32) & 1) != 0; };
  EXPECT_FALSE(pending());
  b.set(SpiBench::CR2, 0x40);
  EXPECT_FALSE(pending());
  b.set(SpiBench::DR, 1);
  b.bare.run(20us);
  EXPECT_TRUE(pending());
}

// --- I2C ------------------------------------------------------------------------------------

struct I2cBench : BoardBench {
  static constexpr Word base = 0x40005400, CR1 = base, CR2 = base + 4, DR = base + 0x10,
                        SR1 = base + 0x14, SR2 = base + 0x18, CCR = base + 0x1c;
  static constexpr Word PE = 1, START = 0x100, STOP = 0x200, ACK = 0x400, POS = 0x800;
  static constexpr Word SB = 1, ADDR = 2, BTF = 4, RXNE = 0x40, TXE = 0x80, AF = 0x400;
  explicit I2cBench(const EepromConfig& config = {}, Word ccr = 80) : BoardBench(config) {
    set(B + 0x04, 3u << 6);              // open drain
    set(B + 0x20, 4u << 24 | 4u << 28);  // PB6, PB7
    set(B, (get(B) & ~(0xfu << 12)) | 2u << 12 | 2u << 14);
    set(CR2, 16);
    set(CCR, ccr);  // 16 MHz by 2 x 80: 100 kHz
    set(CR1, PE);
  }
  bool start(Word address) {
    set(CR1, get(CR1) | START);
    if (!wait(SR1, SB)) return false;
    set(DR, address);
    const bool ok = wait(SR1, ADDR | AF) && !(get(SR1) & AF);
    if (!ok) return false;
    return true;
  }
  void clear_address() {
    get(SR1);
    get(SR2);
  }
  void stop() {
    set(CR1, get(CR1) | STOP);
    for (int i = 0; i < 1000 && (get(SR2) & 2); ++i) bare.run(1us);
    EXPECT_EQ(get(SR2), 0u);
  }
  bool put(Word byte) {
    set(DR, byte);
    return wait(SR1, BTF | AF) && !(get(SR1) & AF);
  }
  void write(Word at, std::initializer_list<Word> bytes) {
    ASSERT_TRUE(start(0xa0));
    clear_address();
    ASSERT_TRUE(put(at >> 8));
    ASSERT_TRUE(put(at & 0xff));
    for (const Word b : bytes) ASSERT_TRUE(put(b));
    stop();
  }
  /// As the manual's sequences for one, two and more bytes say.
  std::vector<Word> read(Word at, unsigned count) {
    std::vector<Word> all;
    EXPECT_TRUE(start(0xa0));
    clear_address();
    EXPECT_TRUE(put(at >> 8));
    EXPECT_TRUE(put(at & 0xff));
    set(CR1, (get(CR1) & ~POS) | ACK);
    if (count == 2) set(CR1, get(CR1) | POS);
    EXPECT_TRUE(start(0xa1));
    if (count == 1) {
      set(CR1, get(CR1) & ~ACK);
      clear_address();
      set(CR1, get(CR1) | STOP);
      EXPECT_TRUE(wait(SR1, RXNE));
      all.push_back(get(DR));
    } else if (count == 2) {
      clear_address();
      set(CR1, get(CR1) & ~ACK);
      EXPECT_TRUE(wait(SR1, BTF));
      set(CR1, get(CR1) | STOP);
      all = {get(DR), get(DR)};
    } else {
      clear_address();
      while (all.size() + 3 < count) {
        EXPECT_TRUE(wait(SR1, RXNE));
        all.push_back(get(DR));
      }
      EXPECT_TRUE(wait(SR1, BTF));  // N-2 in DR, N-1 behind it
      set(CR1, get(CR1) & ~ACK);
      all.push_back(get(DR));
      EXPECT_TRUE(wait(SR1, BTF));
      set(CR1, get(CR1) | STOP);
      all.push_back(get(DR));
      all.push_back(get(DR));
    }
    bare.run(100us);
    EXPECT_EQ(get(SR2), 0u) << "the bus is free";
    EXPECT_EQ(get(SR1) & RXNE, 0u);
    return all;
  }
};

TEST(CortexI2c, WritesAnEepromAndReadsItBack) {
  for (const Word ccr : {80u, 0x8000u | 14u, 0xc000u | 2u}) {  // 100, 381, 320 kHz
    I2cBench b({}, ccr);
    b.write(0x120, {0x11, 0x22, 0x33, 0x44, 0x55});
    b.bare.run(6ms);
    EXPECT_THAT(b.read(0x120, 1), ElementsAre(0x11));
    EXPECT_THAT(b.read(0x120, 2), ElementsAre(0x11, 0x22));
    EXPECT_THAT(b.read(0x121, 3), ElementsAre(0x22, 0x33, 0x44));
    EXPECT_THAT(b.read(0x120, 6), ElementsAre(0x11, 0x22, 0x33, 0x44, 0x55, 0xff));
  }
}

// The family's datasheet: a write runs round within its page of 32 bytes.
TEST(CortexI2c, AWriteRunsRoundInItsPage) {
  I2cBench b;
  b.write(0x3e, {1, 2, 3});
  EXPECT_EQ(b.eeprom.content()[0x3e], 1);
  EXPECT_EQ(b.eeprom.content()[0x3f], 2);
  EXPECT_EQ(b.eeprom.content()[0x20], 3);
  EXPECT_EQ(b.eeprom.content()[0x40], 0xff);
}

TEST(CortexI2c, WhileItStoresItDoesNotAnswer) {
  I2cBench b;
  b.write(0, {9});
  unsigned refused = 0;
  const Time from = b.bare.chip.now();
  while (!b.start(0xa0)) {
    b.set(I2cBench::SR1, 0);
    b.stop();
    ASSERT_LT(++refused, 1000u);
  }
  EXPECT_GT(refused, 10u);
  EXPECT_NEAR(static_cast<double>((b.bare.chip.now() - from).count()), 5e9, 0.4e9);
}

TEST(CortexI2c, NobodyAtAnAddressIsAnAcknowledgeFailure) {
  I2cBench b;
  EXPECT_FALSE(b.start(0xa2));
  EXPECT_EQ(b.get(I2cBench::SR1) & (I2cBench::AF | I2cBench::ADDR), I2cBench::AF);
  b.set(I2cBench::SR1, ~I2cBench::AF);
  EXPECT_EQ(b.get(I2cBench::SR1) & I2cBench::AF, 0u);
  b.stop();
  // And with its own address pins it does.
  I2cBench other({.address_pins = 1});
  EXPECT_TRUE(other.start(0xa2));
}

// 27.6.8: nine clocks a byte, of twice CCR bus cycles; SCL while the address goes out.
TEST(CortexI2c, ItsClockFollowsCcr) {
  struct Case {
    Word ccr;
    Time bit;
  };
  for (const Case& c : {Case{80, 10us}, Case{0x8000 | 14, 2625ns}, Case{0xc000 | 2, 3125ns}}) {
    I2cBench b({}, c.ccr);
    b.set(I2cBench::CR1, 0x101);
    ASSERT_TRUE(b.wait(I2cBench::SR1, I2cBench::SB));
    const Time from = b.bare.chip.now();
    b.set(I2cBench::DR, 0xa0);
    ASSERT_TRUE(b.wait(I2cBench::SR1, I2cBench::ADDR));
    EXPECT_NEAR(static_cast<double>((b.bare.chip.now() - from).count()),
                static_cast<double>(9 * c.bit.count()), 600e3);
  }
}

// A line that is held low is a busy bus, and a start waits for it.
TEST(CortexI2c, AHeldLineIsWaitedFor) {
  I2cBench b;
  b.bare.chip.set_input(PB7, Level::low);
  EXPECT_EQ(b.get(I2cBench::SR2), 2u);
  b.set(I2cBench::CR1, 0x101);
  b.bare.run(1ms);
  EXPECT_EQ(b.get(I2cBench::SR1), 0u);
  b.bare.chip.set_input(PB7, Level::high);
  EXPECT_TRUE(b.wait(I2cBench::SR1, I2cBench::SB));
}

// 10.3.3: I2C1_RX is DMA1 stream 0 channel 1, I2C1_TX stream 6 channel 1; 27.3.7: LAST.
TEST(CortexI2c, DmaCarriesBytesBothWays) {
  I2cBench b;
  const Word memory = 0x20000100;
  for (Word i = 0; i < 6; ++i) b.bare.set(memory + i, i < 2 ? 0 : 0x40 + i, 1);
  b.set(I2cBench::CR2, 0x810);
  stream(b, dma1, 6, 1, I2cBench::DR, memory, 6, 1u << 6);
  ASSERT_TRUE(b.start(0xa0));
  b.clear_address();
  ASSERT_TRUE(b.wait(dma1 + 4, 1u << 21));
  ASSERT_TRUE(b.wait(I2cBench::SR1, I2cBench::BTF));
  b.stop();
  for (Word i = 0; i < 4; ++i) EXPECT_EQ(b.eeprom.content()[i], 0x42 + i);
  b.bare.run(6ms);

  b.set(I2cBench::CR2, 0x10);
  ASSERT_TRUE(b.start(0xa0));
  b.clear_address();
  ASSERT_TRUE(b.put(0));
  ASSERT_TRUE(b.put(0));
  b.set(I2cBench::CR1, I2cBench::PE | I2cBench::ACK);
  b.set(I2cBench::CR2, 0x1810);  // DMAEN, LAST
  stream(b, dma1, 0, 1, I2cBench::DR, memory + 0x40, 3, 0);
  ASSERT_TRUE(b.start(0xa1));
  b.clear_address();
  ASSERT_TRUE(b.wait(dma1, 1u << 5));
  b.stop();
  for (Word i = 0; i < 3; ++i) EXPECT_EQ(b.bare.get(memory + 0x40 + i, 1), 0x42 + i);
  EXPECT_EQ(b.get(I2cBench::SR1) & I2cBench::RXNE, 0u) << "not one more";
}

TEST(CortexI2c, ASoftwareResetLetsGo) {
  I2cBench b;
  ASSERT_TRUE(b.start(0xa0));
  b.set(I2cBench::CR1, 0x8000);
  EXPECT_EQ(b.get(I2cBench::SR1), 0u);
  EXPECT_EQ(b.get(I2cBench::SR2) & 1, 0u);
  b.set(I2cBench::CR1, 0);
  b.set(I2cBench::CCR, 80);
  b.set(I2cBench::CR1, 1);
  EXPECT_TRUE(b.start(0xa0));
}

// --- USART by DMA, CAN and USB unplugged ----------------------------------------------------

constexpr Word usart1 = 0x40011000;

// 10.3.3: USART1_TX is DMA2 stream 7 channel 4, USART1_RX stream 2 channel 4; 30.3.13.
TEST(CortexUsart, DmaCarriesTextBothWays) {
  std::string said;
  BareChip b(idle_program(), {.text = [&](Time, std::string_view text) { said += text; }});
  b.clock_everything();
  const std::string text = "by nobody's hand\n";
  for (Word i = 0; i < text.size(); ++i) b.set(0x20000100 + i, static_cast<Word>(text[i]), 1);
  b.set(usart1 + 8, 139);  // 115200 baud of 16 MHz
  b.set(usart1 + 0x14, 0xc0);
  b.set(usart1 + 0xc, 0x200c);
  const auto stream = [&](unsigned n, Word memory, Word items, Word more) {
    const Word at = dma2 + 0x10 + 0x18 * n;
    b.set(at + 4, items);
    b.set(at + 8, usart1 + 4);
    b.set(at + 12, memory);
    b.set(at, 4u << 25 | 1u << 10 | more | 1);
  };
  stream(7, 0x20000100, static_cast<Word>(text.size()), 1u << 6);
  b.run(3ms);
  EXPECT_EQ(said, text);
  EXPECT_EQ(b.get(dma2 + 4) >> 22 & 0x20, 0x20u) << "at its end";
  EXPECT_EQ(b.get(usart1) & 0xc0u, 0xc0u);
  // Four bytes into a ring of three.
  stream(2, 0x20000200, 3, 1u << 8);
  for (const std::uint8_t byte : std::array<std::uint8_t, 4>{1, 2, 3, 4}) {
    b.chip.receive(0, byte);
    b.run(100us);
    EXPECT_EQ(b.get(usart1) & 0x28u, 0u);
  }
  EXPECT_EQ(b.get(0x20000200) & 0xffffffu, 0x030204u);
}

// 32.4, 32.7.2, 32.7.6; ISO 11898-1: an acknowledge error raises the counter by eight, but not that
// of a passive node.
TEST(CortexCan, OnAnEmptyBusItStartsAndIsNeverAcknowledged) {
  constexpr Word can = 0x40006400, MCR = can, MSR = can + 4, TSR = can + 8, ESR = can + 0x18;
  BareChip b;
  b.clock_everything();
  EXPECT_EQ(b.get(MSR) & 3, 2u) << "asleep";
  b.set(MCR, 1);
  EXPECT_EQ(b.get(MSR) & 3, 1u) << "initialises";
  b.set(can + 0x1c, 0x001c0001);  // 16 MHz by 2 by 16: 500 kbit/s
  b.set(MCR, 0);
  EXPECT_EQ(b.get(MSR) & 3, 1u) << "not before eleven bits";
  b.run(30us);
  EXPECT_EQ(b.get(MSR) & 3, 0u);
  EXPECT_EQ(b.get(TSR), 0x1c000000u);
  b.set(can + 0x184, 8);
  b.set(can + 0x180, 0x123u << 21 | 1);
  EXPECT_EQ(b.get(TSR) >> 26 & 7, 6u) << "under way";
  b.run(250us);
  EXPECT_EQ(b.get(ESR), 8u << 16 | 3u << 4);
  b.run(12 * 250us);
  EXPECT_EQ(b.get(ESR) & 7, 1u) << "warning";
  b.run(100ms);
  EXPECT_EQ(b.get(ESR), 128u << 16 | 3u << 4 | 3u) << "passive, and never off the bus";
  EXPECT_EQ(b.get(TSR) >> 26 & 7, 6u) << "still trying";
  b.set(TSR, 0x80);
  EXPECT_EQ(b.get(TSR), 0x1c000001u) << "given up";
  // Once only, where so asked.
  b.set(MCR, 0x10);
  b.set(can + 0x180, 0x123u << 21 | 1);
  b.run(1ms);
  EXPECT_EQ(b.get(TSR), 0x1c000009u);
  b.set(TSR, 1);
  EXPECT_EQ(b.get(TSR), 0x1c000000u);
}

TEST(CortexUsb, WithoutACableItIsSetUpAndNothingComes) {
  for (const Word usb : {0x50000000u, 0x40040000u}) {
    BareChip b;
    b.clock_everything();
    EXPECT_EQ(b.get(usb + 0x3c), 0x1100u);
    b.set(usb + 0x0c, 0x40000a40);  // device
    b.set(usb + 0x10, 1);
    EXPECT_EQ(b.get(usb + 0x10), 1u << 31) << "reset, idle";
    b.set(usb + 0x10, 0x20 | 16u << 6);
    EXPECT_EQ(b.get(usb + 0x10) & 0x30, 0u) << "flushed";
    EXPECT_EQ(b.get(usb + 0x14) & 1, 0u);
    EXPECT_EQ(b.get(usb) >> 19 & 1, 0u) << "no session";
    b.set(usb + 0x0c, 0x20000000);
    EXPECT_EQ(b.get(usb + 0x14) & 1, 1u) << "host";
    b.set(usb + 0x18, ~Word{0});
    b.run(100ms);
    EXPECT_EQ(b.get(usb + 0x14), 0x04000021u);
    EXPECT_TRUE(b.chip.guesses().touches().empty());
  }
}

TEST(CortexPartners, AnImageThatIsTooLongIsRefused) {
  EXPECT_THROW(Eeprom({.image = "/nowhere/at/all"}), ConfigError);
  EXPECT_THROW(Eeprom({.address_pins = 8}), ConfigError);
}

}  // namespace
}  // namespace stillrotor::io::cortexm
