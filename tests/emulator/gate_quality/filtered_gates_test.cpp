// From the voltages behind RC filters to shares, and how long a reading is worth anything.
#include "emulator/gate_quality/filtered_gates.hpp"

#include <gtest/gtest.h>

#include "emulator/gate_quality/gate_path.hpp"
#include "tests/support/allocations.hpp"

namespace stillrotor {
namespace {

constexpr io::Time ms{1'000'000'000};

/// 0 to 5 V, read every 400 us by frames that take no time: a reading is 450 us old at worst, and
/// old at twice that and two periods of 550 us.
Bench bench(FilteredGateSettings settings = {}) {
  Bench bench;
  bench.expects.pwm_frequency_Hz = 10e3;
  bench.cycle.period_s = 550e-6;
  bench.cycle.delay_s = 0.0;
  settings.filter_s = 2e-3;
  bench.cycle.gates.filtered = settings;
  io::SpiAdcConfig adc;
  adc.bus = {.clock_Hz = 1e12, .gap_s = 0.0, .message_s = 0.0};
  adc.period_s = 400e-6;
  adc.inputs = {{.name = "gates.UH", .filter_s = 2e-3}};
  bench.analog.adcs = {adc};
  return bench;
}

io::GateVolts volts(std::array<double, 6> of, io::Time at = ms) {
  io::GateVolts all;
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = {of[k], at, true};
  return all;
}

TEST(FilteredGates, AShareIsTheVoltageBetweenOffAndOn) {
  FilteredGates gates(bench());
  gates.take(volts({0.5, 4.0, 2.5, 2.5, 5.2, -0.1}), ms);
  const GateShares expected{0.1, 0.8, 0.5, 0.5, 1.0, 0.0};
  for (std::size_t k = 0; k < expected.size(); ++k)
    EXPECT_NEAR(gates.shares()[k], expected[k], 1e-12) << k;
  EXPECT_TRUE(gates.fresh());
}

TEST(FilteredGates, ActiveLowIsTheOtherWayRound) {
  FilteredGates gates(bench({.on_V = 0.0, .off_V = 5.0}));
  gates.take(volts({0.5, 4.0, 0, 5, 0, 5}), ms);
  EXPECT_NEAR(gates.shares()[0], 0.9, 1e-12);
  EXPECT_NEAR(gates.shares()[1], 0.2, 1e-12);
}

// A switch that never comes on must not come on for 0.8 us of each 100 us because of an offset.
TEST(FilteredGates, NearAnEndIsThatEnd) {
  FilteredGates gates(bench());
  gates.take(volts({0.04, 4.96, 0.06, 4.94, 0, 0}), ms);
  EXPECT_EQ(gates.shares()[0], 0.0);
  EXPECT_EQ(gates.shares()[1], 1.0);
  EXPECT_NEAR(gates.shares()[2], 0.012, 1e-12);
  EXPECT_NEAR(gates.shares()[3], 0.988, 1e-12);
}

TEST(FilteredGates, ThreeHaveTheirComplementAndTheOthersNeedNotBeThere) {
  FilteredGates gates(bench({.complementary = true}));
  io::GateVolts high = volts({1.0, 0, 2.0, 0, 3.0, 0});
  high[1].valid = high[3].valid = high[5].valid = false;
  gates.take(high, ms);
  EXPECT_NEAR(gates.shares()[0], 0.2, 1e-12);
  EXPECT_NEAR(gates.shares()[1], 0.8, 1e-12);
  EXPECT_NEAR(gates.shares()[5], 0.4, 1e-12);
  EXPECT_TRUE(gates.fresh());
}

TEST(FilteredGates, BeforeAllHaveBeenReadNoSwitchIsOn) {
  FilteredGates gates(bench({.complementary = true}));
  io::GateVolts some = volts({5, 5, 5, 5, 5, 5});
  some[2].valid = false;
  gates.take(some, 3 * ms);
  EXPECT_EQ(gates.shares(), GateShares{}) << "not even the complement";
  EXPECT_FALSE(gates.fresh()) << "three milliseconds without";
}

// By hand: 2 x (450 us + 550 us) = 2 ms, and ten times that.
TEST(FilteredGates, AReadingGrowsOldAndThenItsConverterIsDead) {
  FilteredGates gates(bench());
  const io::GateVolts read = volts({2.5, 2.5, 2.5, 2.5, 2.5, 2.5});
  gates.take(read, 3 * ms);
  EXPECT_TRUE(gates.fresh());
  io::GateVolts one_behind = read;
  one_behind[4].at = ms - io::Time{1000};
  gates.take(one_behind, 3 * ms);
  EXPECT_FALSE(gates.fresh()) << "the oldest of them counts";
  EXPECT_FALSE(gates.dead());
  EXPECT_NEAR(gates.shares()[0], 0.5, 1e-12) << "as it was";
  gates.take(read, 21 * ms);
  EXPECT_FALSE(gates.dead());
  gates.take(read, 21 * ms + io::Time{1000});
  EXPECT_TRUE(gates.dead());
}

TEST(FilteredGates, TakingAllocatesNothing) {
  FilteredGates gates(bench());
  GatePath path(gate_treatment(bench()));
  const io::GateVolts read = volts({2.5, 2.5, 1.0, 4.0, 4.0, 1.0});
  const std::uint64_t before = allocations();
  for (int k = 1; k < 100; ++k) {
    gates.take(read, k * ms);
    path.take({}, k * ms, &gates.shares());
  }
  EXPECT_EQ(allocations(), before);
}

// Nothing is held back: an average has said what it has to say.
TEST(FilteredGates, TheyAreToldAsPulsesOfThePwmAmongTheOtherLinesEdges) {
  const Bench asks = bench();
  EXPECT_EQ(gate_treatment(asks).hold, io::Time{0});
  GatePath path(gate_treatment(asks));
  EXPECT_NE(path.averaged_text().find("from filtered voltages, time constant 2000 us"),
            std::string::npos)
      << path.averaged_text();
  const io::Edge contactor{io::Time{50'000'000}, io::line::contactor, io::Level::high};
  const GateShares shares{0.6, 0.4, 0, 0, 0, 0};
  path.take({&contactor, 1}, io::Time{150'000'000}, &shares);
  // By hand: UL 0 to 20 us, UH 20 to 80 us, UL 80 to 120 us, UH from 120 us on.
  std::vector<std::pair<std::int64_t, io::LineId>> told;
  for (const io::Edge& edge : path.ready())
    told.emplace_back(edge.at.count() / 1'000'000, edge.line);
  const std::vector<std::pair<std::int64_t, io::LineId>> expected{
      {0, io::line::gate_UL},    {20, io::line::gate_UL}, {20, io::line::gate_UH},
      {50, io::line::contactor}, {80, io::line::gate_UH}, {80, io::line::gate_UL},
      {120, io::line::gate_UL},  {120, io::line::gate_UH}};
  EXPECT_EQ(told, expected);
  EXPECT_TRUE(path.report().averaged);
  EXPECT_EQ(path.report().filter_s, 2e-3);
}

TEST(FilteredGates, PeriodsWithoutRoomAreCounted) {
  AveragedGates averaged(std::chrono::microseconds(1));
  averaged.take(GateShares{0.5, 0.5, 0.5, 0.5, 0.5, 0.5}, io::Time{10'000'000'000});
  EXPECT_GT(averaged.dropped(), 9'000U) << "10,000 periods of 1 us at once";
  EXPECT_EQ(averaged.settled(), io::Time{10'001'000'000});
}

TEST(FilteredGates, NeedThePwmFrequency) {
  Bench silent = bench();
  silent.expects.pwm_frequency_Hz = 0.0;
  try {
    gate_treatment(silent);
    FAIL();
  } catch (const io::ConfigError& error) {
    EXPECT_EQ(error.path, "controller.expects.pwm_frequency");
    EXPECT_NE(std::string(error.what()).find("filtered gates"), std::string::npos);
  }
}

}  // namespace
}  // namespace stillrotor
