// Small blocks of a part against its reference manual (RM0090, sections from memory): clocks and
// resets of RCC, PWR, CRC, option bytes, identity.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/crc.hpp>
#include <cstdint>
#include <random>
#include <utility>

#include "tests/io/cortexm/bare_chip.hpp"

namespace stillrotor::io::cortexm {
namespace {

// Against the division, for the ratios of real clocks and others, up to where it takes over itself.
TEST(CortexRatio, IsTheDivisionRoundedDown) {
  static_assert(Ratio(125000, 21)(21) == 125000 && Ratio(125000, 21)(20) == 119047);
  __extension__ using Wide = __int128;
  std::mt19937_64 dice(1);
  constexpr std::pair<std::int64_t, std::int64_t> ratios[] = {{125000, 21},
                                                              {21, 125000},
                                                              {62500, 1},
                                                              {1, 62500},
                                                              {1, 1},
                                                              {1000000000000, 167999999},
                                                              {167999999, 1000000000000},
                                                              {7, 8},
                                                              {3, (1ll << 40) - 1},
                                                              {3, (1ll << 40) + 1}};
  for (const auto& [times, by] : ratios) {
    const Ratio ratio(times, by);
    for (int n = 0; n < 20'000; ++n) {
      const auto count = static_cast<std::int64_t>(dice() >> (2 + dice() % 60));
      const std::int64_t near = count / by * by;  // where the quotient steps
      for (const std::int64_t x : {count, near, near - 1, near + 1}) {
        if (x < 0) continue;
        const auto add = static_cast<std::int64_t>(dice() % 2 == 0 ? 0 : by - 1);
        const Wide quotient = (static_cast<Wide>(x) * times + add) / by;
        if (quotient > INT64_MAX) continue;
        ASSERT_EQ(ratio(x, add), static_cast<std::int64_t>(quotient))
            << x << " * " << times << " / " << by;
      }
    }
    EXPECT_EQ(ratio(-5), static_cast<std::int64_t>(static_cast<Wide>(-5) * times / by));
  }
}

using namespace std::chrono_literals;
using testing::HasSubstr;

constexpr Word rcc = BareChip::rcc, flash = 0x40023C00, pwr = 0x40007000, crc = 0x40023000;
constexpr Word tim3_arr = 0x4000042C;

// 7.3.10 and following: registers of a block without its clock cannot be reached.
TEST(CortexBlocks, WithoutItsClockABlockReadsZeroAndTakesNothing) {
  for (const ClockRow& row : find_chip("stm32f405")->clocks) {
    BareChip b;
    ASSERT_NE(b.chip.core().bus().at(row.base), nullptr) << std::hex << row.base;
    b.set(rcc + row.enable, b.get(rcc + row.enable) & ~row.clock_bits);
    b.set(row.base, ~Word{0});
    EXPECT_EQ(b.get(row.base), 0u) << std::hex << row.base;
    ASSERT_EQ(b.chip.guesses().in_vain().size(), 1u) << std::hex << row.base;
    EXPECT_EQ(b.chip.guesses().in_vain()[0].count, 2u);
    EXPECT_THAT(b.chip.coverage(), HasSubstr("touched with its clock off: 2 in vain, a write at "
                                             "0x08000200 (idle)"));
    // Its own bit, and no other block's, opens it.
    b.set(rcc + row.enable, row.clock_bits);
    b.get(row.base);
    EXPECT_EQ(b.chip.guesses().in_vain()[0].count, 2u) << std::hex << row.base;
  }
}

TEST(CortexBlocks, WhatWasWrittenBeforeItsClockIsLost) {
  BareChip b;
  b.set(tim3_arr, 1234);
  b.set(rcc + 0x40, 1u << 1);
  EXPECT_EQ(b.get(tim3_arr), 0xffffu);
  b.set(tim3_arr, 1234);
  EXPECT_EQ(b.get(tim3_arr), 1234u);
  // And what it held before it lost its clock is still there.
  b.set(rcc + 0x40, 0);
  EXPECT_EQ(b.get(tim3_arr), 0u);
  b.set(rcc + 0x40, 1u << 1);
  EXPECT_EQ(b.get(tim3_arr), 1234u);
}

// 7.3.7: the bit stays until the firmware takes it away; meanwhile the block keeps its reset state.
TEST(CortexBlocks, AResetBitResetsItsBlockAloneAndHoldsIt) {
  BareChip b;
  b.clock_everything();
  b.set(tim3_arr, 1234);
  b.set(0x4000002C, 77);  // TIM2's
  b.set(rcc + 0x20, 1u << 1);
  EXPECT_EQ(b.get(tim3_arr), 0xffffu);
  EXPECT_EQ(b.get(0x4000002C), 77u);
  b.set(tim3_arr, 99);
  EXPECT_EQ(b.get(tim3_arr), 0xffffu);
  EXPECT_THAT(b.chip.coverage(), HasSubstr("TIM3 (0x4000042c) held in reset: 1 in vain"));
  b.set(rcc + 0x20, 0);
  b.set(tim3_arr, 99);
  EXPECT_EQ(b.get(tim3_arr), 99u);
  // Pins too: an output lets go.
  b.set(0x40020C00, 1u << 24);
  EXPECT_EQ(b.get(0x40020C00), 1u << 24);
  b.set(rcc + 0x10, 1u << 3);
  EXPECT_EQ(b.get(0x40020C00), 0u);
}

// 5.1.2, 7.3.20: until DBP is set the backup domain takes nothing; a system reset leaves it alone.
TEST(CortexBlocks, TheBackupDomainIsLockedAndOutlastsAReset) {
  BareChip b;
  b.clock_everything();
  constexpr Word rtc_backup = 0x40002850, bdcr = rcc + 0x70;
  b.set(rtc_backup, 0x1234);
  b.set(bdcr, 1);
  EXPECT_EQ(b.get(rtc_backup), 0u);
  EXPECT_EQ(b.get(bdcr), 0u);
  EXPECT_THAT(b.chip.coverage(), HasSubstr("RTC (0x40002850) protected (PWR_CR.DBP is 0): 1"));
  EXPECT_THAT(b.chip.coverage(), HasSubstr("RCC.BDCR protected"));
  b.set(pwr, 0x4100);
  b.set(rtc_backup, 0x1234);
  b.set(bdcr, 1);
  EXPECT_EQ(b.get(bdcr), 3u);
  b.set(0xE000ED0C, 0x05fa0004);  // SYSRESETREQ
  b.chip.core().request_reset();
  b.run(1us);
  ASSERT_EQ(b.chip.resets(), 1u);
  EXPECT_EQ(b.get(rtc_backup), 0x1234u);
  EXPECT_EQ(b.get(bdcr), 3u);
  b.clock_everything();
  EXPECT_EQ(b.get(pwr), 0x4000u) << "locked again";
  b.set(pwr, 0x4100);
  b.set(bdcr, 1u << 16);
  EXPECT_EQ(b.get(rtc_backup), 0u);
}

// 5.4.1, 5.4.2.
TEST(CortexBlocks, PowerControlHasItsBitsAndNoOverDrive) {
  BareChip b;
  b.clock_everything();
  EXPECT_EQ(b.get(pwr), 0x4000u);
  b.set(pwr, ~Word{0});
  EXPECT_EQ(b.get(pwr), 0x43f3u);
  EXPECT_EQ(b.get(pwr + 4), 0x4000u) << "ready, no flag";
  b.set(pwr + 4, 0x300);
  EXPECT_EQ(b.get(pwr + 4), 0x4308u) << "the backup regulator is ready";
}

// 4: against Boost.CRC, which takes the bytes of a word in the order of the bus, the highest first.
TEST(CortexBlocks, TheCrcIsThatOfThePolynomial) {
  BareChip b;
  b.clock_everything();
  EXPECT_EQ(b.get(crc), 0xffffffffu);
  b.set(crc + 4, 0x1a5);
  boost::crc_optimal<32, 0x04C11DB7, 0xFFFFFFFF, 0, false, false> other;
  std::mt19937 dice(3);
  for (int i = 0; i < 200; ++i) {
    const Word word = static_cast<Word>(dice());
    b.set(crc, word);
    for (const int shift : {24, 16, 8, 0})
      other.process_byte(static_cast<unsigned char>(word >> shift));
    ASSERT_EQ(b.get(crc), other.checksum()) << i;
  }
  b.set(crc + 8, 1);
  EXPECT_EQ(b.get(crc), 0xffffffffu);
  EXPECT_EQ(b.get(crc + 4), 0xa5u);
}

// 39: unique identity and flash size, in halves too.
TEST(CortexBlocks, ItKnowsItsSizeAndItself) {
  BareChip b;
  EXPECT_EQ(b.get(0x1FFF7A22, 2), 1024u);
  EXPECT_NE(b.get(0x1FFF7A10), 0u);
  const Word before = b.get(0x1FFF7A14);
  b.set(0x1FFF7A14, ~before);
  EXPECT_EQ(b.get(0x1FFF7A14), before);
}

// Two edges while one instruction stalls: who runs the chip to a moment between them and the
// instruction's end is told of both, and not of the second when its moment has passed.
TEST(CortexBlocks, NoEdgeIsLeftBehindByALongInstruction) {
  std::vector<Time> edges;
  Chip* chip = nullptr;
  BareChip b(idle_program(), {.driven = [&](PinId pin, Level level, Time at) {
               if (pin != PinId{0, 0} || level == Level::released) return;
               edges.push_back(at);
               if (chip != nullptr) chip->come_back();
             }});
  chip = &b.chip;
  b.clock_everything();
  b.set(0x40020020, 1);  // PA0: TIM2 channel 1
  b.set(0x40020000, b.get(0x40020000) | 2);
  b.set(0x4000002c, 99);  // TIM2: 100 cycles, high for 40
  b.set(0x40000034, 40);
  b.set(0x40000018, 0x60);
  b.set(0x40000020, 1);
  b.set(0x40000000, 1);
  b.set(flash + 0x04, 0x45670123);
  b.set(flash + 0x04, 0xCDEF89AB);
  b.set(flash + 0x10, 0x201);
  edges.clear();
  b.set(0x08008000, 0);  // stands still for 16 us: 256 cycles
  const Time stalled = b.chip.now();
  for (int i = 0; i < 4; ++i) b.chip.run(stalled - 1us);
  ASSERT_GE(edges.size(), 4u);
  for (std::size_t i = 0; i < 4; ++i) EXPECT_LE(edges[i], stalled) << i;
  for (std::size_t i = 2; i < 4; ++i) EXPECT_EQ(edges[i] - edges[i - 2], Time{6'250'000}) << i;
}

// A timer is not told of pins that it drives or leaves alone. Once it listens it knows how they
// stand: the first edge is the next one.
TEST(CortexBlocks, ATimerThatBeginsToListenKnowsItsPin) {
  constexpr PinId PA0{0, 0};
  constexpr Word tim2 = 0x40000000, status = tim2 + 0x10, captured = 2;
  BareChip b;
  b.clock_everything();
  b.set(0x40020020, 1);
  b.set(0x40020000, b.get(0x40020000) | 2);
  b.chip.set_input(PA0, Level::high);
  b.set(tim2 + 0x18, 1);    // channel 1 captures
  b.set(tim2 + 0x20, 0xb);  // at both edges
  b.set(tim2, 1);
  b.run(10us);
  EXPECT_EQ(b.get(status) & captured, 0u);
  b.chip.set_input(PA0, Level::low);
  EXPECT_EQ(b.get(status) & captured, captured);
  // And after it has been away.
  b.set(tim2 + 0x20, 0);
  b.set(tim2 + 0x18, 0);
  b.set(status, 0);
  b.chip.set_input(PA0, Level::high);
  b.set(tim2 + 0x18, 1);
  b.set(tim2 + 0x20, 0xb);
  b.run(10us);
  EXPECT_EQ(b.get(status) & captured, 0u);
  b.chip.set_input(PA0, Level::low);
  EXPECT_EQ(b.get(status) & captured, captured);
}

struct Options : BareChip {
  using BareChip::BareChip;
  void unlock() {
    set(flash + 0x08, 0x08192A3B);
    set(flash + 0x08, 0x4C5D6E7F);
  }
  void store(Word value) {
    unlock();
    set(flash + 0x14, value);
    set(flash + 0x14, value | 2);
    set(flash + 0x14, value | 1);
  }
};

// 3.6, 3.9.10.
TEST(CortexBlocks, OptionBytesWantTheirKeysAndOptstrt) {
  Options b;
  EXPECT_EQ(b.get(flash + 0x14), 0x0fffaaedu);
  EXPECT_EQ(b.get(0x1FFFC000), 0xaaecu);
  EXPECT_EQ(b.get(0x1FFFC008), 0x0fffu);
  b.set(flash + 0x14, 0);
  EXPECT_EQ(b.get(flash + 0x14), 0x0fffaaedu) << "locked";
  b.unlock();
  b.set(flash + 0x14, 0x0fffaae4);
  EXPECT_EQ(b.get(0x1FFFC000), 0xaaecu) << "not started";
  const Cycle before = b.chip.core().now();
  b.set(flash + 0x14, 0x0fffaae6);
  EXPECT_GT(b.chip.core().now(), before) << "takes its time";
  EXPECT_EQ(b.get(0x1FFFC000), 0xaae4u);
  EXPECT_DOUBLE_EQ(b.chip.flash_controller().brown_out_V(false), 2.50);
  // They outlast a reset, and the lock is back.
  b.chip.core().request_reset();
  b.run(1us);
  EXPECT_EQ(b.get(flash + 0x14), 0x0fffaae5u);
  // Wrong keys lock until the next reset.
  b.set(flash + 0x08, 1);
  b.unlock();
  b.set(flash + 0x14, 0x0fffaaec);
  EXPECT_EQ(b.get(flash + 0x14), 0x0fffaae5u);
}

TEST(CortexBlocks, ReadProtectionIsRefusedWithAReason) {
  Options b;
  b.store(0x0fffcce8);
  EXPECT_EQ(b.get(0x1FFFC000), 0xaae8u) << "the rest is taken";
  EXPECT_THAT(b.chip.coverage(),
              HasSubstr("FLASH: read protection by option bytes: the simulated"));
}

TEST(CortexBlocks, AProtectedSectorIsNeitherProgrammedNorErased) {
  Options b;
  b.store(0x0fffaaec & ~(2u << 16));  // sector 1
  const auto program = [&](Word address) {
    b.set(flash + 0x04, 0x45670123);
    b.set(flash + 0x04, 0xCDEF89AB);
    b.set(flash + 0x10, 0x201);
    b.set(address, 0x12345678);
    const Word status = b.get(flash + 0x0c);
    b.set(flash + 0x0c, 0xf2);
    b.set(flash + 0x10, 1u << 31);
    return status;
  };
  EXPECT_EQ(program(0x08004000), 0x10u);
  EXPECT_EQ(b.get(0x08004000), 0xffffffffu);
  EXPECT_EQ(program(0x08008000), 0u);
  EXPECT_EQ(b.get(0x08008000), 0x12345678u);
  for (const Word erase : {0x1000au, 0x10004u}) {  // sector 1; all
    b.set(flash + 0x04, 0x45670123);
    b.set(flash + 0x04, 0xCDEF89AB);
    b.set(flash + 0x10, erase);
    EXPECT_EQ(b.get(flash + 0x0c), 0x10u);
    EXPECT_EQ(b.get(0x08008000), 0x12345678u);
    b.set(flash + 0x0c, 0x10);
    b.set(flash + 0x10, 1u << 31);
  }
}

TEST(CortexBlocks, TheHardwareWatchdogRunsFromTheStart) {
  Options b;
  b.run(1s);
  EXPECT_EQ(b.chip.resets(), 0u);
  b.store(0x0fffaacc);
  b.chip.core().request_reset();
  b.run(400ms);
  EXPECT_EQ(b.chip.resets(), 1u);
  b.run(200ms);  // 4096 ticks of 32 kHz, by four: 512 ms
  EXPECT_EQ(b.chip.resets(), 2u);
}

}  // namespace
}  // namespace stillrotor::io::cortexm
