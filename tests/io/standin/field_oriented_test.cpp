// The field-oriented controller on a motor: the loop closes through edges, dead time and shunts.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/standin/day_out.hpp"

namespace stillrotor::io::test {
namespace {

constexpr std::chrono::nanoseconds pwm_period{62'500};

/// Mean dq currents over whole PWM periods [A].
std::array<double, 2> mean_dq(DayOut& day, int periods) {
  std::array<double, 2> sum{};
  constexpr int probes = 25;
  for (int k = 0; k < periods * probes; ++k) {
    day.run(pwm_period / probes);
    const auto dq = day.motor.currents_dq_A();
    sum[0] += dq[0] / (periods * probes);
    sum[1] += dq[1] / (periods * probes);
  }
  return sum;
}

// Throttle 1.9333 V of 0.9 to 4 V asks for a third of 60 A: 20 A on q, 0 on d. Tolerance 1 %: the
// angle is extrapolated between encoder edges, the sample is the mean up to the ripple's curvature.
TEST(FieldOriented, HoldsTheAskedCurrentOnTheQAxisAtEverySpeed) {
  for (const double speed : {0.0, 15.0, 120.0, -120.0}) {
    DayOut day{make_field_oriented({}), {.omega_m_rad_s = speed, .theta_m_rad = 0.01}};
    day.run(milliseconds(500));  // past the index, where it turns
    day.start();
    day.motor.set_throttle(0.9 + 3.1 / 3.0);
    day.run(milliseconds(200));
    const auto dq = mean_dq(day, 80);
    // At standstill only the Hall sector is known: theta_e is 0.04 rad, the centre 0; the current
    // stands 90 degrees from 0, so it leans by 0.04 towards d.
    const double off = speed == 0.0 ? 0.04 : 0.0;
    EXPECT_NEAR(dq[1], 20.0 * std::cos(off), 0.2) << speed;
    EXPECT_NEAR(dq[0], 20.0 * std::sin(off), 0.25) << speed;
    EXPECT_FALSE(day.motor.spoke("stopped"));
  }
}

// A torque ramp that is over within one period makes a step of the request. The loop: PI with pole
// cancelled at 500 Hz plus 1.5 periods = 94 us of delay, read by the controller at the next period.
// Sampled at 16 kHz with one period of computing, i+ = i + a (r - i-), a = 2 pi f T = 0.196: by
// hand 1 - i/r is 1, 1, .804, .607, .449, .330 at periods 0 to 5 after the sample that saw the
// request, so 63 % is passed 4.68 periods = 292 us after it. Tolerance: the step falls anywhere in
// the millisecond in which the throttle is read, so it is found from the first movement (2 %,
// within one period), and ripple: 15 %.
TEST(FieldOriented, AnswersAStepWithTheTimeConstantOfItsBandwidth) {
  DayOut day{make_field_oriented({.scaling = {}, .torque_ramp_A_per_s = 1e7}),
             {.omega_m_rad_s = 60.0}};
  day.run(milliseconds(200));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  std::vector<double> iq;
  for (int k = 0; k < 320; ++k) {  // 20 ms by periods, ripple averaged within each
    iq.push_back(mean_dq(day, 1)[1]);
  }
  const auto crossing = [&](double level) {
    for (std::size_t k = 1; k < iq.size(); ++k)
      if (iq[k] >= level)
        return (static_cast<double>(k) - (iq[k] - level) / (iq[k] - iq[k - 1])) * 62.5e-6;
    return 1.0;
  };
  // From 10 % to 63.2 % of 20 A; on the recursion above 0.51 and 3.68 periods after the current
  // first moves: 198 us.
  EXPECT_NEAR(crossing(12.64) - crossing(2.0), 198e-6, 0.15 * 198e-6);
  double over = 0.0;
  for (const double i : iq) over = std::max(over, i);
  EXPECT_LT(over, 20.0 * 1.10);
}

// 400 A/s: 20 A after 50 ms; half of it after 25.
TEST(FieldOriented, RampsItsTorque) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 30.0}};
  day.run(milliseconds(300));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(24));
  EXPECT_NEAR(mean_dq(day, 16)[1], 9.6, 0.8);
}

TEST(FieldOriented, RegulatesNoCurrentAtRestOfTheThrottle) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 120.0}};
  day.run(milliseconds(100));
  day.start();
  day.run(milliseconds(50));
  const auto dq = mean_dq(day, 40);
  EXPECT_NEAR(dq[0], 0.0, 0.3);
  EXPECT_NEAR(dq[1], 0.0, 0.3);
}

// Drive torque is gone with the first period that sees the brake (2 periods and the loop's 0.3 ms
// decay: under 5 % after 2 ms), then 400 A/s lead to the regeneration limit.
TEST(FieldOriented, BrakesByRegenerationUpToItsLimit) {
  DayOut day{make_field_oriented({.scaling = {}, .regen_limit_A = 15.0}), {.omega_m_rad_s = 60.0}};
  day.run(milliseconds(200));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(100));
  day.brake(true);
  day.run(milliseconds(2));
  EXPECT_LT(mean_dq(day, 1)[1], 1.0);
  day.run(milliseconds(100));
  EXPECT_NEAR(mean_dq(day, 40)[1], -15.0, 0.3);
}

// 12 mWb at 560 rad/s mechanical (2240 electrical) are 26.9 V of EMF; the bus gives
// 0.98 * 48 / sqrt 3 = 27.2 V: 20 A on q (2240 * 150 uH * 20 A = 6.7 V across) do not fit without
// weakening.
TEST(FieldOriented, WeakensTheFieldWhenTheVoltageDoesNotSuffice) {
  FieldOrientedConfig config;
  DayOut day{make_field_oriented(config), {.omega_m_rad_s = 560.0}};
  day.run(milliseconds(50));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(300));
  const auto dq = mean_dq(day, 160);
  EXPECT_LT(dq[0], -2.0);
  EXPECT_NEAR(dq[1], 20.0, 1.0);
}

// No Halls: a fixed vector for 0.8 s must have pulled the rotor to 0; the script holds it there.
TEST(FieldOriented, AlignsTheRotorWhereNoHallsAreFitted) {
  DayOut day{make_field_oriented({.scaling = {}, .has_hall = false}),
             {.omega_m_rad_s = 0.0, .theta_m_rad = 0.0}};
  day.start();
  day.run(milliseconds(700));
  EXPECT_NEAR(mean_dq(day, 20)[0], 0.4 * 60.0, 0.5);
  day.run(milliseconds(200));
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(100));
  EXPECT_NEAR(mean_dq(day, 20)[1], 20.0, 0.3);
}

TEST(FieldOriented, RefusesToRunWithoutItsCurrentSense) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 0.0, .current_offset_V = 0.2}};
  day.start();
  day.run(milliseconds(20));
  EXPECT_TRUE(day.motor.spoke("needs its current sense"));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
}

// The amplifier's offset is measured, not believed: 40 mV would otherwise be 2 A.
TEST(FieldOriented, TakesTheZeroOfItsCurrentSenseAtPowerUp) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 30.0, .current_offset_V = 2.54}};
  day.run(milliseconds(300));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(150));
  const auto dq = mean_dq(day, 160);
  EXPECT_NEAR(dq[1], 20.0, 0.2);
  EXPECT_NEAR(dq[0], 0.0, 0.2);
}

// Settings that contradict the Halls, and an encoder whose wires are off: within a few Hall edges
// (60 rad/s: one each 4.4 ms; the index once a turn, each 105 ms) the controller stops instead of
// driving a wrong angle.
TEST(FieldOriented, StopsWhenHallsAndEncoderDisagree) {
  const auto outcome = [](const FieldOrientedConfig& config, bool encoder_wired) {
    DayOut day{make_field_oriented(config), {.omega_m_rad_s = 60.0}};
    if (!encoder_wired)
      for (const LineId l : {line::encoder_A, line::encoder_B, line::encoder_Z})
        day.motor.set_line(l, Level::low);
    day.start();
    day.motor.set_throttle(1.5);
    day.run(milliseconds(300));
    return day.motor.spoke("stopped: Halls and encoder disagree");
  };
  EXPECT_FALSE(outcome({}, true));
  EXPECT_TRUE(outcome({}, false));
  EXPECT_TRUE(outcome({.scaling = {}, .pole_pairs = 5}, true));
  EXPECT_TRUE(outcome({.scaling = {}, .encoder_lines = 512}, true));
  EXPECT_TRUE(outcome({.scaling = {}, .encoder_index_rad = 0.5}, true));  // 115 electrical degrees
}

// The negative control of the tests above: a wrong index within what the Halls forgive, 0.15 rad or
// 34 electrical degrees, turns 20 A on q into 20 cos 34 = 16.5 A, and -20 sin 34 = -11.3 A on d.
TEST(FieldOriented, MissesTheQAxisByAWrongIndex) {
  DayOut day{make_field_oriented({.scaling = {}, .encoder_index_rad = 0.15}),
             {.omega_m_rad_s = 60.0}};
  day.run(milliseconds(200));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(150));
  const auto dq = mean_dq(day, 40);
  EXPECT_NEAR(dq[1], 20.0 * std::cos(0.6), 0.3);
  EXPECT_NEAR(dq[0], -20.0 * std::sin(0.6), 0.3);
}

// A supply that collapses under the drive is not driven on: less torque below 75 % of the bus, none
// below 65 %.
TEST(FieldOriented, LetsGoOfTheTorqueWhenTheBusSags) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 30.0}};
  day.run(milliseconds(300));
  day.start();
  day.motor.set_throttle(0.9 + 3.1 / 3.0);
  day.run(milliseconds(150));
  day.motor.set_bus(0.70 * 48.0);
  day.run(milliseconds(150));
  EXPECT_NEAR(mean_dq(day, 40)[1], 10.0, 0.3);
  day.motor.set_bus(0.6 * 48.0);
  day.run(milliseconds(150));
  EXPECT_NEAR(mean_dq(day, 40)[1], 0.0, 0.3);
  day.motor.set_bus(0.3 * 48.0);
  day.run(milliseconds(10));
  EXPECT_TRUE(day.motor.spoke("stopped: bus fell"));
}

TEST(FieldOriented, EndsTheElectricBrakeWhenTheBusRises) {
  DayOut day{make_field_oriented({}), {.omega_m_rad_s = 60.0}};
  day.run(milliseconds(200));
  day.start();
  day.brake(true);
  day.run(milliseconds(150));
  EXPECT_NEAR(mean_dq(day, 40)[1], -20.0, 0.3);
  day.motor.set_bus(1.15 * 48.0);
  day.run(milliseconds(150));
  EXPECT_NEAR(mean_dq(day, 40)[1], -10.0, 0.3);
  day.motor.set_bus(1.25 * 48.0);
  day.run(milliseconds(150));
  EXPECT_NEAR(mean_dq(day, 40)[1], 0.0, 0.3);
}

}  // namespace
}  // namespace stillrotor::io::test
