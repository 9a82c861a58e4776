#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "io/capture/motion.hpp"

namespace stillrotor::io::test {
namespace {

using testing::HasSubstr;
constexpr double pi = 3.14159265358979324;
constexpr double deg = pi / 180.0;

TrustQuestion one_second() {
  TrustQuestion q;
  q.resolution_s = 100e-9;
  q.length_s = 1.0;
  return q;
}

// By hand: 5 deg = 0.087266 rad, 0.2 rad/s uncertain, clock 0: 0.43633 s.
TEST(CaptureTrust, OfAHeldSpeedEndsWhenItsUncertaintyHasTurnedFiveDegrees) {
  auto q = one_second();
  q.held_speed_rad_s = 300.0;
  q.speed_uncertainty_rad_s = 0.2;
  q.clock_error = 0.0;
  q.initial_uncertainty_rad = 0.0;
  const auto answer = trust({}, q);
  EXPECT_NEAR(answer.trusted_s, 0.436332, 1e-6);
  EXPECT_NEAR(answer.angle_error_rad, 0.2, 1e-12);
  EXPECT_THAT(answer.text, HasSubstr("0.4363 s of 1 s"));
}

// By hand: the clock alone, 50 ppm of 300 rad/s is 0.015 rad/s; 1 deg of 5 is used up at the start:
// 4 deg / 0.015 rad/s = 4.654 s.
TEST(CaptureTrust, CountsTheClockAndTheStartAngle) {
  auto q = one_second();
  q.length_s = 10.0;
  q.held_speed_rad_s = -300.0;
  q.initial_uncertainty_rad = 1 * deg;
  EXPECT_NEAR(trust({}, q).trusted_s, 4.65421, 1e-5);
}

TEST(CaptureTrust, IsNoneWhereTheStartAngleIsUnknown) {
  auto q = one_second();
  q.held_speed_rad_s = 300.0;
  EXPECT_EQ(trust({}, q).trusted_s, 0.0);
  q.held_speed_rad_s = 0.0;
  EXPECT_EQ(trust({}, q).trusted_s, 0.0);
  EXPECT_THAT(trust({}, q).text, HasSubstr("no speed is given"));
}

RecordedMotion turning() {
  RecordedMotion motion;
  motion.source = RecordedMotion::Source::hall;
  motion.speed = {{Time{}, 300.0}};
  motion.initial_uncertainty_rad = 0.1 * deg;
  motion.interpolation_error_rad = 0.5 * deg;
  motion.anchors = 18;
  return motion;
}

// By hand: 300 rad/s times 100 ns is 3e-5 rad on top of the half degree between edges.
TEST(CaptureTrust, OfRecordedHallsDoesNotGrowWithTime) {
  auto q = one_second();
  EXPECT_NEAR(trust(turning(), q).angle_error_rad, 0.5 * deg + 3e-5, 1e-12);
  EXPECT_EQ(trust(turning(), q).trusted_s, 1.0);
  q.length_s = 1000.0;
  EXPECT_NEAR(trust(turning(), q).angle_error_rad, 0.5 * deg + 3e-5, 1e-12);
  EXPECT_EQ(trust(turning(), q).trusted_s, 1000.0);
}

TEST(CaptureTrust, OfRecordedHallsEndsWhereTheyBecomeTooSlow) {
  auto motion = turning();
  motion.interpolation_error_rad = 12 * deg;
  motion.exceeds_limit_at = Time(250'000'000'000);
  EXPECT_EQ(trust(motion, one_second()).trusted_s, 0.25);
}

TEST(CaptureTrust, MentionsImpossibleSteps) {
  auto motion = turning();
  EXPECT_THAT(trust(motion, one_second()).text, testing::Not(HasSubstr("impossible")));
  motion.impossible_steps = 3;
  EXPECT_THAT(trust(motion, one_second()).text, HasSubstr("3 steps"));
}

// By hand: sigma = 20 ns / sqrt 12 = 5.7735 ns; V sigma / L = 48 * 5.7735e-9 / 200e-6 = 1.38564 mA;
// tau = 200 uH / 50 mohm = 4 ms; sqrt(20 kHz * 4 ms / 2) = sqrt 40 = 6.32456;
// times 2 / sqrt 3 = 1.154701: 10.119 mA. For 20 A that is 0.05 % of peak, 0.07 % of rms, near the
// 0.06 % that a simulation of such a drive gave.
TEST(CaptureTrust, StatesWhatTheStampsResolutionCostsInCurrent) {
  auto q = one_second();
  q.resolution_s = 20e-9;
  q.bus_V = 48.0;
  q.inductance_H = 200e-6;
  q.resistance_ohm = 0.05;
  q.pwm_frequency_Hz = 20e3;
  const auto answer = trust(turning(), q);
  EXPECT_NEAR(answer.current_error_A, 10.119e-3, 1e-6);
  EXPECT_THAT(answer.text, HasSubstr("0.01 A rms"));
  q.bus_V = 0.0;
  EXPECT_EQ(trust(turning(), q).current_error_A, 0.0);
}

}  // namespace
}  // namespace stillrotor::io::test
