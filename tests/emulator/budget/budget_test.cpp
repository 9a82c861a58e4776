// Demand against limit on the shipped benches; figures by hand beside each.
#include "emulator/budget/budget.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace stillrotor {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

Bench bench(const char* name, const std::vector<std::string>& overrides = {}) {
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/" + std::string(name) + ".yaml",
                    overrides, STILLROTOR_BUILD_DIR);
}

/// 10,000 edges/s in, 3 us jitter, 2 us a write; 25 us to the pins; a 200 us cycle.
Routes plain_gpio() {
  Routes routes;
  routes.lines = {"GPIO character device", 10'000.0, 3e-6, 2e-6, true, "declared"};
  routes.volts = {"spidev DAC", 25e-6, 5.0 / 4096, "declared"};
  routes.cycle_s = 200e-6;
  return routes;
}

const Demand& row(const Budget& budget, const std::string& signal) {
  for (const Demand& demand : budget.demands)
    if (demand.signal == signal) return demand;
  throw std::runtime_error("no row " + signal);
}

TEST(Budget, TwentyKilohertzOfGatesDoNotFitPlainGpio) {
  const Budget sum =
      budget(bench("orchard-cart-mid", {"controller.expects.pwm_frequency=20 kHz"}), plain_gpio());
  const Demand& gates = row(sum, "gates, in");
  EXPECT_FALSE(gates.fits);
  EXPECT_DOUBLE_EQ(gates.demand, 240'000.0);  // 12 edges a period
  EXPECT_DOUBLE_EQ(gates.limit, 10'000.0);
  EXPECT_EQ(gates.fits_up_to, "833 Hz PWM");  // 10,000 / 12
  EXPECT_FALSE(sum.fits());
}

TEST(Budget, ACurrentLoopThroughABoardsConverterLosesItsPhase) {
  const Budget sum =
      budget(bench("orchard-cart-mid", {"controller.expects.current_loop=1 kHz"}), plain_gpio());
  const Demand& currents = row(sum, "currents, out");
  EXPECT_FALSE(currents.fits);
  EXPECT_NEAR(sum.loop_delay_s, 325e-6, 1e-12);         // half of 200 us, 200 us, 25 us
  EXPECT_NEAR(currents.demand, 117.0, 1e-9);            // 360 deg x 1 kHz x 325 us
  EXPECT_EQ(currents.fits_up_to, "85.5 Hz crossover");  // 10 deg / 360 deg / 325 us
  EXPECT_EQ(sum.grade, Grade::partitioned);
  EXPECT_THAT(sum.grade_why, HasSubstr("1 kHz"));
}

TEST(Budget, ASlowLoopKeepsItsMargin) {
  const Budget sum =
      budget(bench("orchard-cart-mid", {"controller.expects.current_loop=80 Hz"}), plain_gpio());
  EXPECT_TRUE(row(sum, "currents, out").fits);
  EXPECT_NEAR(row(sum, "currents, out").demand, 9.36, 1e-9);
  EXPECT_EQ(sum.grade, Grade::averages);
}

TEST(Budget, AnEncoderStepsNoFasterThanItIsWritten) {
  // 64 lines at 3000 rpm: 4 x 64 x 50 = 12,800 steps/s against 5,000 writes/s; 5,000 / 256 turns/s.
  const Budget sum = budget(bench("orchard-cart-mid"), plain_gpio());
  const Demand& encoder = row(sum, "encoder, out");
  EXPECT_FALSE(encoder.fits);
  EXPECT_NEAR(encoder.demand, 12'800.0, 1e-6);
  EXPECT_DOUBLE_EQ(encoder.limit, 5'000.0);
  EXPECT_EQ(encoder.fits_up_to, "1172 rpm, or 25 lines");
}

TEST(Budget, HallsComeLateByACycleAndAWrite) {
  Routes routes = plain_gpio();
  routes.cycle_s = 50e-6;
  // 20 pole pairs at 200 rpm: 66.7 Hz; 360 x 66.7 x 52 us = 1.248 deg.
  const auto slow =
      budget(bench("orchard-cart-hub-stand-in", {"controller.expects.top_speed=200 rpm"}), routes);
  const Demand& halls = row(slow, "Halls, out");
  EXPECT_TRUE(halls.fits);
  EXPECT_NEAR(halls.demand, 1.248, 1e-9);
  EXPECT_EQ(halls.fits_up_to, "801.3 rpm");  // 5 deg / 360 / 52 us / 20 x 60
}

TEST(Budget, StampsThatJitterMoreThanTheDeadTimeAreRefused) {
  Routes routes = plain_gpio();
  const Bench mid = bench("orchard-cart-mid", {"controller.expects.dead_time=1 us"});
  EXPECT_FALSE(row(budget(mid, routes), "dead time, in").fits);
  EXPECT_EQ(row(budget(mid, routes), "dead time, in").fits_up_to, "dead times from 12 us");
  routes.lines.stamp_jitter_s = 40e-9;
  EXPECT_TRUE(row(budget(mid, routes), "dead time, in").fits);
}

TEST(Budget, WhatTheBenchDoesNotStateIsAskedFor) {
  Bench silent = bench("orchard-cart-mid");
  silent.expects = {};
  const Budget sum = budget(silent, plain_gpio());
  EXPECT_THAT(sum.not_stated,
              ElementsAre("controller.expects.pwm_frequency", "controller.expects.dead_time",
                          "controller.expects.top_speed", "controller.expects.current_loop"));
  EXPECT_FALSE(sum.fits());
}

TEST(Budget, ChannelsWithoutAConverterReachNobody) {
  Routes routes = plain_gpio();
  routes.volts.reset();
  const Budget sum = budget(bench("orchard-cart-mid"), routes);
  EXPECT_FALSE(row(sum, "channels, out").fits);
}

TEST(Budget, FitsWhereEverythingDoes) {
  Routes routes = plain_gpio();
  routes.lines.edges_in_per_s = 1e6;
  routes.lines.stamp_jitter_s = 40e-9;
  routes.cycle_s = 50e-6;
  const Budget sum = budget(bench("orchard-cart-mid", {"controller.expects.current_loop=80 Hz",
                                                       "controller.expects.top_speed=1500 rpm"}),
                            routes);
  EXPECT_TRUE(sum.fits());
  EXPECT_THAT(sum.not_stated, IsEmpty());
}

}  // namespace
}  // namespace stillrotor
