// From volts to codes and back.
#include "io/analog/calibration.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace stillrotor::io {
namespace {

/// One code is 1 mV at the part.
SpiDacConfig dac() {
  return {.part = *find_dac_part("mcp4922"), .reference_V = 2.048, .gain = 2.0};
}

TEST(OutputScale, TakesTheNearestCode) {
  const OutputScale scale(dac(), {.safe_V = 0.0});
  EXPECT_EQ(scale.code(1.2344).value, 1234u);
  EXPECT_EQ(scale.code(1.2346).value, 1235u);
  EXPECT_FALSE(scale.code(1.2346).clamped);
  EXPECT_DOUBLE_EQ(scale.step_V(), 1e-3);
}

TEST(OutputScale, StopsAtThePartsRangeAndSaysSo) {
  const OutputScale scale(dac(), {.safe_V = 0.0});
  EXPECT_EQ(scale.code(7.0).value, 4095u);
  EXPECT_TRUE(scale.code(7.0).clamped);
  EXPECT_EQ(scale.code(-1.0).value, 0u);
  EXPECT_TRUE(scale.code(-1.0).clamped);
  EXPECT_FALSE(scale.code(4.0952).clamped);  // less than half a step beyond
  EXPECT_EQ(scale.code(INFINITY).value, 4095u);
}

TEST(OutputScale, NeverGoesBeyondTheLimitsOfTheWire) {
  const OutputScale scale(dac(), {.least_V = 0.2, .most_V = 3.3, .safe_V = 1.65});
  EXPECT_EQ(scale.code(4.0).value, 3300u);
  EXPECT_EQ(scale.code(0.0).value, 200u);
  EXPECT_TRUE(scale.code(4.0).clamped);
}

TEST(OutputScale, WhatIsNoNumberBecomesTheSafeLevel) {
  const OutputScale scale(dac(), {.safe_V = 1.65});
  EXPECT_EQ(scale.code(NAN).value, 1650u);
  EXPECT_TRUE(scale.code(NAN).clamped);
}

// By hand: V_wire = -2 V_part + 5, so 1 V at the wire is 2 V at the part.
TEST(OutputScale, FollowsAnInvertingAmplifier) {
  const OutputScale scale(dac(), {.scale = -2.0, .shift_V = 5.0, .safe_V = 0.0});
  EXPECT_EQ(scale.code(1.0).value, 2000u);
  EXPECT_DOUBLE_EQ(scale.most_V(), 5.0);
  EXPECT_NEAR(scale.least_V(), 5.0 - 2.0 * 4.095, 1e-12);
}

// By hand: asked for 1 V and 3 V, the wire shows 1.02 V and 3.00 V: true = 1.02 + 0.99 (shown - 1).
// For 2.01 V true it must be asked for 2 V.
TEST(OutputScale, CorrectsOffsetAndSlopeByTwoPoints) {
  const OutputScale scale(dac(), {.safe_V = 0.0, .calibration = {{1.0, 1.02}, {3.0, 3.00}}});
  EXPECT_EQ(scale.code(2.01).value, 2000u);
  EXPECT_NEAR(scale.wire_V(2000), 2.01, 1e-12);
  EXPECT_NEAR(scale.wire_V(0), 0.03, 1e-12);  // straight on beyond the points
}

// By hand, second stretch: true 2.1 V lies half way between (2, 2.0) and (3, 2.2).
TEST(OutputScale, FollowsATableStretchByStretch) {
  const OutputScale scale(
      dac(), {.safe_V = 0.0, .calibration = {{1.0, 1.0}, {2.0, 2.0}, {3.0, 2.2}, {4.0, 4.0}}});
  EXPECT_EQ(scale.code(2.1).value, 2500u);
  EXPECT_EQ(scale.code(1.5).value, 1500u);
  EXPECT_EQ(scale.code(3.1).value, 3500u);
}

TEST(Calibration, BackAndForthIsTheSame) {
  const CalibrationPoints points{{0.1, 0.13}, {1.0, 1.02}, {2.5, 2.44}, {4.0, 4.11}};
  for (double shown_V = -0.5; shown_V < 5.0; shown_V += 0.1)
    EXPECT_NEAR(shown_from_true(points, true_from_shown(points, shown_V)), shown_V, 1e-12);
}

// By hand: (100 + 4) counts of 2 mV are 0.208 V at the part, 20 times that and 1 V at the wire.
TEST(InputScale, AppliesOffsetDividerAndShift) {
  const InputScale scale({.scale = 20.0, .shift_V = 1.0}, 2e-3, 4.0);
  EXPECT_NEAR(scale.wire_V(100.0), 5.16, 1e-12);
  EXPECT_NEAR(scale.step_V(), 0.04, 1e-15);
}

TEST(InputScale, CorrectsWhatItReads) {
  const InputScale scale({.calibration = {{1.0, 1.1}, {2.0, 2.0}}}, 1e-3);
  EXPECT_NEAR(scale.wire_V(1500.0), 1.55, 1e-12);
}

}  // namespace
}  // namespace stillrotor::io
