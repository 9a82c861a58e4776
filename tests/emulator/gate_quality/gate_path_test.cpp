// What a bench's gate treatment refuses, and how long it holds edges.
#include "emulator/gate_quality/gate_path.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace stillrotor {
namespace {

using testing::HasSubstr;

Bench bench() {
  Bench bench;
  bench.expects.pwm_frequency_Hz = 20e3;
  bench.expects.dead_time_s = 1e-6;
  bench.cycle.delay_s = 50e-6;
  return bench;
}

void expect_refused(const Bench& bench, const char* path, const char* text) {
  try {
    gate_treatment(bench);
    FAIL() << path << " passed";
  } catch (const io::ConfigError& error) {
    EXPECT_EQ(error.path, path);
    EXPECT_THAT(error.what(), HasSubstr(text));
  }
}

TEST(GateTreatment, HoldsNothingUnlessAskedTo) {
  Bench silent = bench();
  silent.expects = {};
  silent.cycle.delay_s = 0.0;
  EXPECT_EQ(gate_treatment(silent).hold, io::Time{0});
}

// By hand: the tolerance, and half a dead time for what a repair moves back; the period on top.
TEST(GateTreatment, HoldsForItsOverlapsItsSkewAndItsAverages) {
  Bench asks = bench();
  asks.cycle.gates.overlap_tolerance_s = 2e-6;
  EXPECT_EQ(gate_treatment(asks).hold, io::Time{2'500'000});
  asks.cycle.gates.skew_s[3] = 1e-6;
  EXPECT_EQ(gate_treatment(asks).hold, io::Time{3'500'000});
  asks.cycle.gates.averaged = true;
  asks.cycle.delay_s = 53.5e-6;
  EXPECT_EQ(gate_treatment(asks).hold, io::Time{53'500'000});
}

TEST(GateTreatment, RefusesToHoldLongerThanTheDelay) {
  Bench asks = bench();
  asks.cycle.gates.averaged = true;
  EXPECT_EQ(gate_treatment(asks).hold, io::Time{50'000'000});
  asks.cycle.delay_s = 49e-6;
  expect_refused(asks, "cycle.delay",
                 "delay is 49 us; allowed with these cycle.gates: 50 us (for so long edges are "
                 "held back)");
}

TEST(GateTreatment, RefusesWhatTheBenchDoesNotState) {
  Bench asks = bench();
  asks.expects.dead_time_s = 0.0;
  asks.cycle.gates.overlap_tolerance_s = 1e-6;
  expect_refused(asks, "controller.expects.dead_time", "the dead time is not stated");
  asks.expects.dead_time_s = 11e-6;
  expect_refused(asks, "controller.expects.dead_time", "the dead time is 11 us");
  asks = bench();
  asks.cycle.gates.averaged = true;
  asks.expects.pwm_frequency_Hz = 0.0;
  expect_refused(asks, "controller.expects.pwm_frequency", "the PWM frequency is not stated");
  asks.expects.pwm_frequency_Hz = 50.0;
  expect_refused(asks, "controller.expects.pwm_frequency", "the PWM frequency is 50 Hz");
}

}  // namespace
}  // namespace stillrotor
