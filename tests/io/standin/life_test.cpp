// What all built-in controllers do at power-up, at key-on, on faults and on stop.
#include <gtest/gtest.h>

#include "tests/io/standin/day_out.hpp"

namespace stillrotor::io::test {
namespace {

struct Kind {
  const char* name;
  std::unique_ptr<SimulatedController> (*make)();
};

class Standin : public ::testing::TestWithParam<Kind> {
 protected:
  DayOut day{GetParam().make(), {.omega_m_rad_s = 15.0}};
  Time since{};
  void mark() { since = day.motor.now(); }
  bool drives() {
    mark();
    day.run(milliseconds(5));
    return day.turn_ons(since) > 20;
  }
};

TEST_P(Standin, KeepsItsGatesOffUntilTheKeyIsTurned) {
  EXPECT_EQ(day.turn_ons(Time{0}), 0u);
  EXPECT_TRUE(day.motor.all_gates(Level::low));  // driven low, no longer released
}

TEST_P(Standin, ChargesTheBootstrapBeforeItRuns) {
  mark();
  day.key(true);
  day.run(milliseconds(2));
  EXPECT_EQ(day.turn_ons(since), 3u);
  for (const LineId low : {line::gate_UL, line::gate_VL, line::gate_WL})
    EXPECT_TRUE(day.motor.gate(low));
}

TEST_P(Standin, DrivesWhenTheThrottleIsOpenedAfterTheKey) {
  day.start();
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  EXPECT_TRUE(drives());
}

TEST_P(Standin, RefusesToStartWithTheThrottleOpenUntilItHasBeenAtRest) {
  day.motor.set_throttle(2.5);
  day.run(milliseconds(5));
  mark();
  day.start();
  day.run(milliseconds(200));
  EXPECT_EQ(day.turn_ons(since), 0u);
  EXPECT_TRUE(day.motor.spoke("throttle open at key-on"));
  day.motor.set_throttle(0.85);
  day.run(milliseconds(10));
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  EXPECT_TRUE(drives());
}

// A broken wire reads low (pull-down) or high (shorted to supply). Five readings a millisecond
// apart decide; with one more for the phase of the millisecond: 6 ms.
TEST_P(Standin, StopsOnABrokenThrottleWireAndStaysStoppedUntilKeyOff) {
  for (const double volts : {0.05, 4.95}) {
    DayOut d{GetParam().make(), {.omega_m_rad_s = 15.0}};
    d.start();
    d.motor.set_throttle(2.5);
    d.run(milliseconds(30));
    const Time broken = d.motor.now();
    d.motor.set_throttle(volts);
    d.run(milliseconds(30));
    EXPECT_TRUE(d.motor.all_gates(Level::low));
    EXPECT_LE(d.gates_off_since() - broken, Time{milliseconds(6)});
    EXPECT_TRUE(d.motor.spoke("stopped: throttle"));
    d.motor.set_throttle(0.85);
    d.run(milliseconds(20));
    d.motor.set_throttle(2.5);
    const Time mended = d.motor.now();
    d.run(milliseconds(50));
    EXPECT_EQ(d.turn_ons(mended), 0u);
    d.motor.set_throttle(0.85);
    d.key(false);
    d.run(milliseconds(20));
    d.start();
    d.motor.set_throttle(2.5);
    d.run(milliseconds(30));
    EXPECT_GT(d.turn_ons(mended), 20u);
  }
}

TEST_P(Standin, DoesNotStopOnOneBadReading) {
  day.start();
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  day.motor.set_throttle(0.0);
  day.run(milliseconds(2));
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  EXPECT_FALSE(day.motor.spoke("stopped"));
  EXPECT_TRUE(drives());
}

/// Those that turn with the Halls.
class HallStandin : public Standin {};

// All lines stuck high, as three open wires on pull-ups would read: gates off at the edge itself.
TEST_P(HallStandin, StopsOnAHallCodeThatNoRotorPositionGives) {
  day.start();
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  ASSERT_TRUE(drives());
  mark();
  for (const LineId hall : {line::hall_U, line::hall_V, line::hall_W})
    day.motor.set_line(hall, Level::high);
  day.run(milliseconds(20));
  EXPECT_EQ(day.gates_off_since(), since);
  EXPECT_TRUE(day.motor.spoke("Hall lines read 111"));
  EXPECT_EQ(day.turn_ons(since), 0u);
}

TEST_P(Standin, TurnsItsGatesOffAtKeyOff) {
  day.start();
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  mark();
  day.key(false);
  day.run(milliseconds(20));
  EXPECT_EQ(day.gates_off_since(), since);
  EXPECT_EQ(day.turn_ons(since), 0u);
}

// 80 % of 5 V is 4 V. Key and throttle are as they were: the throttle now counts as open at key-on.
TEST_P(Standin, StartsAfreshAfterABrownOut) {
  day.start();
  day.motor.set_throttle(2.5);
  day.run(milliseconds(20));
  day.motor.power(*day.controller, 3.9);
  EXPECT_TRUE(day.motor.all_gates(Level::released));
  mark();
  day.motor.power(*day.controller, 5.0);
  day.run(milliseconds(50));
  EXPECT_EQ(day.turn_ons(since), 0u) << "the throttle is still open";
  day.motor.set_throttle(0.85);
  day.run(milliseconds(20));
  EXPECT_GT(day.turn_ons(since), 0u);
}

const Kind six_step{"SixStep", [] { return make_six_step({}); }};
const Kind field_oriented{"FieldOriented", [] { return make_field_oriented({}); }};
const Kind volts_per_hertz{"VoltsPerHertz", [] { return make_volts_per_hertz({}); }};
const auto by_name = [](const auto& row) { return row.param.name; };

INSTANTIATE_TEST_SUITE_P(All, Standin, ::testing::Values(six_step, field_oriented, volts_per_hertz),
                         by_name);
INSTANTIATE_TEST_SUITE_P(Both, HallStandin, ::testing::Values(six_step, field_oriented), by_name);

}  // namespace
}  // namespace stillrotor::io::test
