// Contactor and brake chopper, as the stand-ins drive them.
#include "io/standin/supply_lines.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/standin/day_out.hpp"

namespace stillrotor::io::test {
namespace {

using standin::PreCharge;

/// The moment at which a link of that time constant counts as charged, asked once a millisecond.
double charged_after_s(double tau_s) {
  PreCharge pre_charge;
  pre_charge.begin(Time{});
  for (int ms = 1; ms < 10'000; ++ms)
    if (pre_charge.done(milliseconds(ms), 72.0 * (1.0 - std::exp(-1e-3 * ms / tau_s))))
      return 1e-3 * ms;
  return 1e9;
}

// By hand: a rise below 1 % of the bus in 50 ms leaves 0.0095 at tau = 70 ms, 0.087 at 500 ms.
TEST(PreCharge, IsDoneWhenLittleIsLeft) {
  for (const auto& [tau_s, left] : {std::pair{0.02, 0.001}, {0.07, 0.0096}, {0.5, 0.088}}) {
    const double after_s = charged_after_s(tau_s);
    EXPECT_LT(std::exp(-after_s / tau_s), left) << tau_s;
    EXPECT_LT(after_s, 8.0 * tau_s) << tau_s;  // and does not wait for ever
  }
}

TEST(PreCharge, IsNeverDoneOnAnEmptyLink) {
  PreCharge pre_charge;
  pre_charge.begin(Time{});
  for (int ms = 1; ms < 1000; ++ms) EXPECT_FALSE(pre_charge.done(milliseconds(ms), 0.5)) << ms;
}

FieldOrientedConfig with_contactor() {
  FieldOrientedConfig config;
  config.scaling.closes_contactor = true;
  return config;
}

std::vector<Edge> edges_of(const ScriptedMotor& motor, LineId line) {
  std::vector<Edge> found;
  for (const Edge& edge : motor.gate_edges)
    if (edge.line == line) found.push_back(edge);
  return found;
}

// The bus stands still: two stretches of 50 ms after the key at 20 ms (looked at once a
// millisecond), and 100 ms for the contactor before the first gate.
TEST(StandinContactor, ClosesWhenTheBusStandsStillAndOpensWithTheKey) {
  DayOut day(make_field_oriented(with_contactor()), {.omega_m_rad_s = 15.0});
  day.key(true);
  day.run(milliseconds(300));
  auto edges = edges_of(day.motor, line::contactor);
  ASSERT_EQ(edges.size(), 2U);
  EXPECT_EQ(edges[0].level, Level::low);  // at power-up
  EXPECT_EQ(edges[1].level, Level::high);
  EXPECT_GE(edges[1].at, Time{milliseconds(120)});
  EXPECT_LE(edges[1].at, Time{milliseconds(123)});
  Time first_gate{};
  for (const Edge& edge : day.motor.gate_edges)
    if (is_gate(edge.line) && edge.level == Level::high && first_gate == Time{})
      first_gate = edge.at;
  EXPECT_GE(first_gate, edges[1].at + milliseconds(100));
  EXPECT_LE(first_gate, edges[1].at + milliseconds(103));
  const Time off = day.motor.now();
  day.key(false);
  day.run(milliseconds(2));
  edges = edges_of(day.motor, line::contactor);
  ASSERT_EQ(edges.size(), 3U);
  EXPECT_EQ(edges[2].level, Level::low);
  EXPECT_EQ(edges[2].at, off);
  day.motor.power(*day.controller, 0.0);
  EXPECT_EQ(edges_of(day.motor, line::contactor).back().level, Level::released);
}

TEST(StandinContactor, StaysOpenOnALinkThatDoesNotCharge) {
  DayOut day(make_field_oriented(with_contactor()), {.bus_V = 0.0});
  day.key(true);
  day.run(milliseconds(5100));
  EXPECT_TRUE(day.motor.spoke("stopped: bus reads 0.0 V after 5 s of pre-charge"));
  EXPECT_EQ(edges_of(day.motor, line::contactor).size(), 1U);  // low at power-up
}

TEST(StandinContactor, IsNotDrivenWhereItHasNone) {
  DayOut day(make_field_oriented({}), {.omega_m_rad_s = 15.0});
  day.start();
  EXPECT_TRUE(edges_of(day.motor, line::contactor).empty());
  EXPECT_TRUE(edges_of(day.motor, line::brake_chopper).empty());
}

// Looked at once a PWM period of 62.5 us.
TEST(StandinChopper, SwitchesBetweenItsTwoVoltages) {
  SixStepConfig config;
  config.scaling.chopper_on_V = 56.0;
  config.scaling.chopper_off_V = 53.0;
  DayOut day(make_six_step(config), {});
  const auto after = [&](double bus_V) {
    day.motor.set_bus(bus_V);
    day.run(std::chrono::microseconds(130));
    return edges_of(day.motor, line::brake_chopper).back().level;
  };
  EXPECT_EQ(after(55.0), Level::low);
  EXPECT_EQ(after(56.5), Level::high);
  EXPECT_EQ(after(53.5), Level::high);
  EXPECT_EQ(after(52.5), Level::low);
}

}  // namespace
}  // namespace stillrotor::io::test
