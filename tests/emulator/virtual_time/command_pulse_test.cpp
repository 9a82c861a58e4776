// The command pulse at the controller's pin: each edge by hand.
#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;

/// 10 ms from pulse to pulse, 1 to 2 ms for 1 to 3 V of throttle.
Bench pulsed() {
  Bench bench = hub_bench();
  bench.controls.throttle_idle_V = 1.0;
  bench.controls.throttle_full_V = 3.0;
  bench.controls.pulse = {.fitted = true, .period_s = 10e-3};
  return bench;
}

Scenario lasting(std::int64_t lasts_ps, std::vector<Action> timeline) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = std::move(timeline);
  return scenario;
}

struct Pulse {
  std::int64_t rise_ps, width_ps;
  friend bool operator==(const Pulse&, const Pulse&) = default;
};

std::vector<Pulse> pulses(const std::vector<io::Edge>& edges, Level active = Level::high) {
  std::vector<Pulse> found;
  for (const io::Edge& edge : edges) {
    if (edge.line != io::line::command_pulse) continue;
    if (edge.level == active)
      found.push_back({edge.at.count(), 0});
    else if (!found.empty())
      found.back().width_ps = edge.at.count() - found.back().rise_ps;
  }
  return found;
}

std::vector<Pulse> run_pulses(const Bench& bench, const Scenario& scenario,
                              std::int64_t look_ahead_ps = 100 * us) {
  ScriptedController controller;
  KeepingSink sink;
  run(bench, scenario, controller, sink, look_ahead_ps);
  const auto recorded = sink.edges_of(io::line::command_pulse);
  std::size_t k = 0;
  for (const io::Edge& edge : controller.delivered)
    if (edge.line == io::line::command_pulse) {
      EXPECT_EQ(recorded.at(k++).at_ps, edge.at.count());
    }
  return pulses(controller.delivered,
                bench.harness.lines[io::index(io::line::command_pulse)].active_high ? Level::high
                                                                                    : Level::low);
}

// The throttle runs from 1 V to 2 V between 10 ms and 30 ms: a quarter open at the pulse of 20 ms,
// half from 30 ms on. One at 45 ms comes with the next pulse.
TEST(CommandPulse, FollowsTheThrottleFromPulseToPulseToThePicosecond) {
  const Scenario scenario = lasting(58 * ms, {action(10 * ms, ActionKind::throttle, 2.0, 20 * ms),
                                              action(45 * ms, ActionKind::throttle, 3.0)});
  const std::vector<Pulse> due = {{10 * ms, 1 * ms},
                                  {20 * ms, 1250 * us},
                                  {30 * ms, 1500 * us},
                                  {40 * ms, 1500 * us},
                                  {50 * ms, 2 * ms}};
  EXPECT_EQ(run_pulses(pulsed(), scenario), due);
  EXPECT_EQ(run_pulses(pulsed(), scenario, 3 * us), due) << "whatever the look ahead";
  Bench inverted = pulsed();
  inverted.harness.lines[io::index(io::line::command_pulse)].active_high = false;
  EXPECT_EQ(run_pulses(inverted, scenario), due);
}

TEST(CommandPulse, StaysWithinIdleAndFullWhereTheThrottlesWireDoesNot) {
  const std::vector<Pulse> due = {{10 * ms, 1 * ms}, {20 * ms, 2 * ms}};
  EXPECT_EQ(run_pulses(pulsed(), lasting(29 * ms, {action(1 * ms, ActionKind::throttle, 0.0),
                                                   action(12 * ms, ActionKind::throttle, 5.0)})),
            due);
}

TEST(CommandPulse, EndsInItsTimeWhenItsSenderGoesOffAndComesBackWithItsPeriod) {
  const std::vector<Pulse> due = {{10 * ms, 1 * ms}, {40 * ms, 1 * ms}};
  const Scenario scenario = lasting(49 * ms, {action(10'500 * us, ActionKind::command_pulse, 0.0),
                                              action(33 * ms, ActionKind::command_pulse, 1.0)});
  EXPECT_EQ(run_pulses(pulsed(), scenario), due);
}

TEST(CommandPulse, IsSentWhereItIsFittedAndWiredOnly) {
  Bench bench = pulsed();
  bench.controls.pulse.fitted = false;
  EXPECT_TRUE(run_pulses(bench, lasting(25 * ms, {})).empty());
  bench = pulsed();
  EXPECT_EQ(run_pulses(bench, lasting(25 * ms, {})).size(), 2U);
  bench.harness.lines[io::index(io::line::command_pulse)].connected = false;
  EXPECT_TRUE(run_pulses(bench, lasting(25 * ms, {})).empty());
}

// 8 ms after the pulse began nobody is late: pulses of some hundred hertz stay exact, too.
TEST(CommandPulse, KeepsItsPeriodForLong) {
  Bench bench = pulsed();
  bench.controls.pulse.period_s = 2.5e-3;  // 400 Hz
  const auto sent = run_pulses(bench, lasting(1001 * ms, {}));
  ASSERT_EQ(sent.size(), 400U);
  EXPECT_EQ(sent.back().rise_ps, second);
}

}  // namespace
}  // namespace stillrotor::test
