// Demand against limit on the shipped benches; figures by hand beside each.
#include "emulator/budget/budget.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/budget/routes.hpp"

namespace stillrotor {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

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

TEST(Budget, ALongCycleReadsMoreEdgesThanItTakesAtOnce) {
  const Bench fast = bench("orchard-cart-mid", {"controller.expects.pwm_frequency=20 kHz"});
  const auto turn_of = [&](double cycle_s) {
    Routes routes = plain_gpio();
    routes.cycle_s = cycle_s;
    return row(budget(fast, routes), "gates, a turn");
  };
  const Demand turn = turn_of(5e-3);
  EXPECT_FALSE(turn.fits);
  EXPECT_DOUBLE_EQ(turn.demand, 1200.0);            // 12 x 20 kHz x 5 ms
  EXPECT_DOUBLE_EQ(turn.limit, 921.6);              // nine tenths of 1,024
  EXPECT_EQ(turn.fits_up_to, "cycles of 3.84 ms");  // 921.6 / 240 kedges/s
  EXPECT_TRUE(turn_of(3.8e-3).fits);
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

// Steps of 200 us in a travel of 1 ms are a fifth of it; 1 % would be 10 us.
TEST(Budget, ACommandPulseThatEndsWithACycleIsRefusedWithItsStep) {
  Bench wired = bench("orchard-cart-hub-wired");
  Routes routes = plain_gpio();
  const auto has_row = [&] {
    for (const Demand& demand : budget(wired, routes).demands)
      if (demand.signal == "command pulse, out") return true;
    return false;
  };
  EXPECT_FALSE(has_row());
  wired.controls.pulse.fitted = true;
  wired.harness.lines[io::index(io::line::command_pulse)].connected = true;
  const Demand coarse = row(budget(wired, routes), "command pulse, out");
  EXPECT_FALSE(coarse.fits);
  EXPECT_NEAR(coarse.demand, 20.0, 1e-9);
  EXPECT_DOUBLE_EQ(coarse.limit, 1.0);
  EXPECT_EQ(coarse.fits_up_to, "cycles of 10 us");
  routes.cycle_s = 9e-6;
  EXPECT_TRUE(row(budget(wired, routes), "command pulse, out").fits);
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

TEST(Budget, HallsComeLateByDelayCycleAndWrite) {
  Routes routes = plain_gpio();
  routes.cycle_s = 50e-6;
  // 20 pole pairs at 200 rpm: 66.7 Hz; 360 x 66.7 x (50 + 50 + 2) us = 2.448 deg.
  const auto slow =
      budget(bench("orchard-cart-hub-stand-in", {"controller.expects.top_speed=200 rpm"}), routes);
  const Demand& halls = row(slow, "Halls, out");
  EXPECT_TRUE(halls.fits);
  EXPECT_NEAR(halls.demand, 2.448, 1e-9);
  EXPECT_EQ(halls.fits_up_to, "408.5 rpm");  // 5 deg / 360 / 102 us / 20 x 60
  EXPECT_THAT(halls.remedy, HasSubstr("cycle.lead: 77 us"));

  // Led by the mean of that, half a cycle to either side is left: 360 x 66.7 x 25 us = 0.6 deg.
  const auto led = budget(bench("orchard-cart-hub-stand-in",
                                {"controller.expects.top_speed=200 rpm", "cycle.lead=77 us"}),
                          routes);
  EXPECT_NEAR(row(led, "Halls, out").demand, 0.6, 1e-9);
  EXPECT_THAT(row(led, "Halls, out").remedy, Not(HasSubstr("cycle.lead")));
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

// By hand: five frames of 32 bits at 10 MHz are 16 us, four gaps 40 us, the message 15 us, 50 us to
// wake and 10 us to settle: 131 us, and 300 us of half a hold and a cycle. 360 deg x 1 kHz x 431
// us.
TEST(Budget, ABenchThatNamesItsConverterIsHeldAgainstThatOne) {
  const Bench named =
      bench("orchard-cart-hub-wired-volts", {"controller.expects.current_loop=1 kHz"});
  const Routes routes = declared_routes("gpiod", named).value();
  EXPECT_EQ(routes.volts.value().name, "spidev ad5668");
  EXPECT_FALSE(routes.averages);
  const Budget sum = budget(named, routes);
  const Demand& currents = row(sum, "currents, out");
  EXPECT_FALSE(currents.fits);
  EXPECT_NEAR(sum.loop_delay_s, 431e-6, 1e-12);
  EXPECT_NEAR(currents.demand, 155.16, 1e-9);
  EXPECT_THAT(currents.consequence, HasSubstr("would lose 155 deg of phase"));
  EXPECT_EQ(currents.fits_up_to, "64.4 Hz crossover");  // 10 deg / 360 deg / 431 us
  EXPECT_FALSE(sum.fits());
  const Bench slow = bench("orchard-cart-hub-wired-volts");
  EXPECT_TRUE(budget(slow, declared_routes("gpiod", slow).value()).fits());
}

TEST(Budget, TheSlowestConverterCounts) {
  const Bench slow = bench("orchard-cart-hub-wired-volts", {"converters.dac_a.clock=1 MHz"});
  // 160 us of frames in the place of 16 us.
  EXPECT_NEAR(declared_routes("gpiod", slow).value().volts.value().delay_s, 275e-6, 1e-12);
}

TEST(Budget, ABenchThatNamesNoneIsHeldAgainstACommonOne) {
  EXPECT_EQ(declared_routes("polled", bench("orchard-cart-mid")).value().volts.value().delay_s,
            25e-6);
  EXPECT_FALSE(declared_routes("standin", bench("orchard-cart-mid")));
}

// By hand: 100 % / (4 x 16 kHz x 1 ms) of ripple; 1 ms of filter, 500 us of period, 50 us to wake,
// 15 us and three frames of 24 bits at 2 MHz (36 us) with two gaps (20 us).
TEST(Budget, FiltersAverageAndMakeTheLoopLate) {
  const Bench filtered = bench("orchard-cart-hub-averages");
  const Routes routes = declared_routes("gpiod", filtered).value();
  const Budget sum = budget(filtered, routes);
  EXPECT_NEAR(row(sum, "gate averages, in").demand, 1.5625, 1e-9);
  EXPECT_TRUE(row(sum, "gate averages, in").fits);
  EXPECT_THROW(row(sum, "gates, in"), std::runtime_error) << "no edges come in";
  EXPECT_THROW(row(sum, "dead time, in"), std::runtime_error);
  EXPECT_NEAR(routes.averages.value().delay_s, 1.621e-3, 1e-9);
  EXPECT_NEAR(sum.loop_delay_s, 1.621e-3 + 750e-6 + routes.volts.value().delay_s, 1e-9);
  EXPECT_EQ(sum.grade, Grade::averages);
  EXPECT_THAT(sum.grade_why, HasSubstr("gates are averages, 1.62 ms behind their wires"));
  EXPECT_TRUE(sum.fits());

  const Bench rippled =
      bench("orchard-cart-hub-averages", {"harness.lines.gates.VH.filter=0.5 ms"});
  const Budget refused = budget(rippled, declared_routes("gpiod", rippled).value());
  EXPECT_FALSE(row(refused, "gate averages, in").fits);
  EXPECT_EQ(row(refused, "gate averages, in").fits_up_to, "filters from 781 us");
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
