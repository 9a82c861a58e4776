// The six-step controller on a motor.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/standin/day_out.hpp"

namespace stillrotor::io::test {
namespace {

double torque_current(DayOut& day) { return day.motor.currents_dq_A()[1]; }

/// Mean of i_q over a time [A].
double mean_torque_current(DayOut& day, Time length) {
  double sum = 0.0;
  int n = 0;
  for (const Time end = day.motor.now() + length; day.motor.now() < end; ++n) {
    day.run(std::chrono::microseconds(37));
    sum += torque_current(day);
  }
  return sum / n;
}

TEST(SixStep, GivesTorqueInTheDirectionOfTravelAndAgainstItInReverse) {
  for (const bool reverse : {false, true}) {
    DayOut day{make_six_step({}), {.omega_m_rad_s = 0.0}};
    day.motor.set_line(line::reverse, reverse ? Level::high : Level::low);
    day.start();
    day.run(milliseconds(300));  // standstill is known after 200 ms without a Hall edge
    day.motor.set_throttle(1.1);
    day.run(milliseconds(50));
    const double mean = mean_torque_current(day, milliseconds(20));
    EXPECT_GT(reverse ? -mean : mean, 5.0);
  }
}

TEST(SixStep, DoesNotReverseWhileTheMotorTurns) {
  DayOut day{make_six_step({}), {.omega_m_rad_s = 20.0}};
  day.start();
  day.motor.set_throttle(1.6);
  day.run(milliseconds(50));
  day.motor.set_line(line::reverse, Level::high);
  day.run(milliseconds(300));
  EXPECT_GT(mean_torque_current(day, milliseconds(20)), 1.0);
}

TEST(SixStep, WorksWithSixtyDegreeHalls) {
  DayOut day{make_six_step({.scaling = {}, .hall_spacing_deg = 60.0}),
             {.omega_m_rad_s = 15.0, .hall_spacing_deg = 60.0}};
  day.start();
  day.motor.set_throttle(1.6);
  day.run(milliseconds(100));
  EXPECT_GT(mean_torque_current(day, milliseconds(100)), 5.0);
  EXPECT_FALSE(day.motor.spoke("stopped"));
}

// 120-degree Halls read by a controller set to 60 degrees: some codes come from no position.
TEST(SixStep, StopsWhenItsHallSpacingIsWrong) {
  DayOut day{make_six_step({.scaling = {}, .hall_spacing_deg = 60.0}), {.omega_m_rad_s = 15.0}};
  day.start();
  day.motor.set_throttle(1.6);
  day.run(milliseconds(200));
  EXPECT_TRUE(day.motor.spoke("stopped: Hall"));
}

// At any time at most one high and one low switch, of different legs; one change of legs a sector.
TEST(SixStep, CommutatesWithOneHighAndOneLowSwitchAndNoOverlap) {
  DayOut day{make_six_step({.scaling = {}, .dead_time_s = 2e-6}), {.omega_m_rad_s = 60.0}};
  day.start();
  const Time since = day.motor.now();
  day.motor.set_throttle(3.0);
  day.run(milliseconds(200));
  std::array<bool, gate_count> on{};
  std::array<Time, gate_count> off_at{};
  off_at.fill(-milliseconds(1));
  std::size_t low_changes = 0;
  for (const Edge& e : day.motor.gate_edges) {
    const std::size_t g = index(e.line);
    on[g] = e.level == Level::high;
    if (!on[g]) off_at[g] = e.at;
    if (e.at < since) continue;
    ASSERT_LE(on[0] + on[2] + on[4], 1);
    ASSERT_LE(on[1] + on[3] + on[5], 1);
    if (on[g]) {
      ASSERT_FALSE(on[g ^ 1]);
      ASSERT_GE((e.at - off_at[g ^ 1]).count(), 2'000'000);
      low_changes += g % 2;
    }
  }
  // 60 rad/s, 4 pole pairs: 38.2 electrical turns/s, 3 low legs a turn, in 0.2 s: 22.9.
  EXPECT_NEAR(static_cast<double>(low_changes), 22.9, 1.5);
}

// Stalled at full throttle: 48 V over 0.1 ohm would be 480 A. After the ramp has met the limit the
// current stays there: within 15 %, where pulses are skipped; ripple at 12 % duty is under 2 A.
TEST(SixStep, HoldsTheCurrentLimitWhenStalled) {
  DayOut day{make_six_step({.scaling = {}, .current_limit_A = 40.0}), {.omega_m_rad_s = 0.0}};
  day.start();
  day.motor.set_throttle(4.0);
  double peak = 0.0, late_sum = 0.0;
  int late = 0;
  for (int k = 0; k < 10'000; ++k) {
    day.run(std::chrono::microseconds(50));
    for (const double i : day.motor.currents_A()) peak = std::max(peak, std::abs(i));
    if (k < 5000) continue;
    late_sum += std::abs(day.motor.currents_A()[1]) + std::abs(day.motor.currents_A()[0]) +
                std::abs(day.motor.currents_A()[2]);
    ++late;
  }
  EXPECT_LT(peak, 1.15 * 40.0 + 2.0);
  EXPECT_NEAR(0.5 * late_sum / late, 40.0, 2.0);
  EXPECT_FALSE(day.motor.spoke("stopped"));
}

TEST(SixStep, CutsTheTorqueAtTheBrakesEdgeAndRampsUpAfterIt) {
  DayOut day{make_six_step({}), {.omega_m_rad_s = 15.0}};
  day.start();
  day.motor.set_throttle(2.0);
  day.run(milliseconds(200));
  const Time pressed = day.motor.now();
  day.brake(true);
  day.run(milliseconds(50));
  EXPECT_EQ(day.gates_off_since(), pressed);
  EXPECT_EQ(day.turn_ons(pressed), 0u);
  day.brake(false);
  day.run(milliseconds(50));
  EXPECT_GT(day.turn_ons(pressed), 20u);
}

// 4 / s: half duty takes 125 ms. Throttle 2.45 V of 0.9 to 4 V asks for 0.5. At 250 rad/s the EMF
// between two terminals is about 20 V, so that half of 48 V stays below the current limit.
TEST(SixStep, RampsItsDuty) {
  DayOut day{make_six_step({}), {.omega_m_rad_s = 250.0}};
  day.start();
  const auto duty = [&] {
    Time on{}, rise{}, from = day.motor.now();
    const std::size_t first = day.motor.gate_edges.size();
    day.run(milliseconds(5));
    for (std::size_t k = first; k < day.motor.gate_edges.size(); ++k) {
      const Edge& e = day.motor.gate_edges[k];
      if (index(e.line) % 2 == 1) continue;
      if (e.level == Level::high)
        rise = e.at;
      else if (rise > from)
        on += e.at - rise;
    }
    return static_cast<double>(on.count()) / 5e9;
  };
  day.motor.set_throttle(2.45);
  day.run(milliseconds(60));
  EXPECT_NEAR(duty(), 0.25, 0.04);  // 62.5 ms into the ramp, on the average of the window
  day.run(milliseconds(200));
  EXPECT_NEAR(duty(), 0.5 - 1.0 / 62.5, 0.02);  // less the dead time's share
}

TEST(SixStep, RunsWithoutCurrentSenseButSaysSo) {
  DayOut day{make_six_step({}), {.omega_m_rad_s = 15.0, .current_offset_V = 0.0}};
  EXPECT_TRUE(day.motor.spoke("current sense not trusted"));
  const Time since = day.motor.now();
  day.start();
  day.motor.set_throttle(1.6);
  day.run(milliseconds(50));
  EXPECT_GT(day.turn_ons(since), 20u);
}

}  // namespace
}  // namespace stillrotor::io::test
