#include "io/link/port/chip_time.hpp"

#include <gtest/gtest.h>

namespace stillrotor::io {
namespace {

// By hand: 133 MHz is 7518.797 ps a tick, rounded up to the picosecond; 7 days are
// 604,800 s * 133e6.
TEST(ChipTime, KnowsWhenATickBegins) {
  constexpr ChipTime chip(133'000'000);
  EXPECT_EQ(chip.begins(1), Time(7519));
  EXPECT_EQ(chip.ticks(Time(7518)), 0U);
  EXPECT_EQ(chip.ticks(Time(7519)), 1U);
  EXPECT_EQ(chip.begins(133'000'000), Time(1'000'000'000'000));
  EXPECT_EQ(chip.ticks(Time(604'800'000'000'000'000)), 604'800ULL * 133'000'000ULL);
}

TEST(ChipTime, FindsEachTickAgain) {
  for (const std::uint32_t tick_Hz : {1U, 7U, 25'000'000U, 133'000'000U, 4'294'967'295U}) {
    const ChipTime chip(tick_Hz);
    for (const std::uint64_t tick : {0ULL, 1ULL, 2'345'678ULL, 9'000'001ULL}) {
      EXPECT_EQ(chip.ticks(chip.begins(tick)), tick) << tick_Hz;
      if (tick == 0) continue;
      EXPECT_EQ(chip.ticks(chip.begins(tick) - Time(1)), tick - 1) << tick_Hz;
    }
  }
}

}  // namespace
}  // namespace stillrotor::io
