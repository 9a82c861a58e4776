// cycle.lead: what tells the rotor's position is shown ahead of the plant, so that the wires' delay
// is taken out of it; currents are not.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "emulator/rehearsal/rehearsed_run.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double cycle_s = 50e-6, delay_s = 100e-6, write_s = 25e-6;
/// An edge waits half a cycle in the mean for the turn that writes it.
constexpr double whole_delay_s = delay_s + write_s + 0.5 * cycle_s;
constexpr std::int64_t lasts_ps = 500 * ms;

/// Turned by a dynamometer, Halls and a sine and cosine of the electrical angle on its wires.
Bench turned_bench(double lead_s) {
  Bench bench = hub_bench();
  bench.drive.shaft.hold = plant::Hold::start_speed;
  bench.drive.sin_cos = {.fitted = true, .periods_per_turn = 15, .amplitude_V = 2.0};
  bench.drive.phase_current.kind = plant::CurrentSensing::in_line;
  bench.cycle.period_s = cycle_s;
  bench.cycle.delay_s = delay_s;
  bench.cycle.lead_s = lead_s;
  return bench;
}

/// Volts are as fast as lines.
RehearsedRoute slow_wires() {
  RehearsedRoute route;
  route.asked = "slow wires";
  route.lines.edges_in_per_s = 1e12;
  route.lines.write_s = route.volts.delay_s = write_s;
  route.burst_edges = 1e6;
  return route;
}

struct Reading {
  double at_s, sin_V, cos_V, current_V, bus_V;
};
struct Shown {
  std::vector<io::Edge> halls;  // at the controller
  std::vector<LineEdge> truth;  // in the plant
  std::vector<Reading> volts;
  std::vector<Frame> frames;
};

Shown shown(double lead_s, const Scenario& scenario) {
  ScriptedController controller;
  Shown out;
  controller.drive(20 * ms, io::LineId{0}, io::Level::high);   // UH: a phase is braked through
  controller.drive(20 * ms, io::LineId{2}, io::Level::high);   // VH
  for (std::int64_t t = 30 * ms; t < lasts_ps; t += 137 * us)  // on no grid with the cycle
    controller.at(t, [&out](io::World& world, io::Time at) {
      const auto volts = [&](io::ChannelId channel) { return world.volts(channel, at); };
      out.volts.push_back({static_cast<double>(at.count()) * 1e-12, volts(io::channel::angle_sin),
                           volts(io::channel::angle_cos), volts(io::channel::phase_current_U),
                           volts(io::channel::bus_voltage)});
    });
  KeepingSink sink;
  run_rehearsed(turned_bench(lead_s), scenario, controller, slow_wires(), sink);
  for (const io::Edge& edge : controller.delivered)
    if (edge.line == io::line::hall_U && edge.at.count() > 30 * ms) out.halls.push_back(edge);
  out.truth = sink.edges_of(io::line::hall_U);
  out.frames = sink.frames;
  return out;
}

Scenario turned(double from_rad_s, double to_rad_s) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.start.speed_rad_s = from_rad_s;
  scenario.timeline = {action(0, ActionKind::held_speed, to_rad_s, lasts_ps)};
  return scenario;
}

struct Lateness {
  double mean_s = 0.0, worst_s = 0.0;  // worst: from the mean
};
/// Each edge against the nearest one of the plant: they are 10 ms apart and more.
Lateness lateness(const Shown& run) {
  std::vector<double> all;
  for (const io::Edge& edge : run.halls) {
    double nearest = 1.0;
    for (const LineEdge& truth : run.truth) {
      const double late = static_cast<double>(edge.at.count() - truth.at_ps) * 1e-12;
      if (std::abs(late) < std::abs(nearest)) nearest = late;
    }
    all.push_back(nearest);
  }
  Lateness out;
  for (double late : all) out.mean_s += late / static_cast<double>(all.size());
  for (double late : all) out.worst_s = std::max(out.worst_s, std::abs(late - out.mean_s));
  return out;
}

class TurnedFrom : public testing::TestWithParam<std::pair<double, double>> {};

// Tolerance of the mean: some twenty edges, each anywhere in a cycle of 50 us: 50 / sqrt(12 * 20)
// us = 3 us rms, three times that.
TEST_P(TurnedFrom, HallEdgesComeInTimeOnceTheDelayIsLed) {
  const Scenario scenario = turned(GetParam().first, GetParam().second);
  const Shown plain = shown(0.0, scenario), led = shown(whole_delay_s, scenario);
  ASSERT_GT(led.halls.size(), 15U);
  const Lateness late = lateness(plain), kept = lateness(led);
  EXPECT_NEAR(late.mean_s, whole_delay_s, 10e-6);
  EXPECT_NEAR(kept.mean_s, 0.0, 10e-6);
  EXPECT_LT(kept.worst_s, 0.5 * cycle_s + 10e-6);  // what the hold leaves
}

// Electrical angle behind the rotor's, mean of thousands of readings: the delay's, and nothing.
TEST_P(TurnedFrom, SineAndCosineRegainTheirPhase) {
  const Scenario scenario = turned(GetParam().first, GetParam().second);
  const auto behind_s = [&](double lead_s) {
    double sum = 0.0;
    const Shown run = shown(lead_s, scenario);
    for (const Reading& r : run.volts) {
      const double rate = (GetParam().second - GetParam().first) * 1e12 / lasts_ps;
      const double speed = 15.0 * (GetParam().first + rate * r.at_s);
      const double angle = 15.0 * (GetParam().first + 0.5 * rate * r.at_s) * r.at_s;
      const double seen = std::atan2(r.sin_V - 2.5, r.cos_V - 2.5);
      sum += std::remainder(angle - seen, two_pi) / speed;
    }
    return sum / static_cast<double>(run.volts.size());
  };
  EXPECT_NEAR(behind_s(0.0), whole_delay_s, 2e-6);
  EXPECT_NEAR(behind_s(whole_delay_s), 0.0, 2e-6);
}

INSTANTIATE_TEST_SUITE_P(Lead, TurnedFrom,
                         testing::Values(std::pair(12.0, 12.0), std::pair(5.0, 20.0),
                                         std::pair(-5.0, -20.0)));

// What nobody can know ahead stays what it was: the same volts at the same moments, to the bit.
TEST(Lead, CurrentsAndBusAreNotForetold) {
  const Scenario scenario = turned(5.0, 20.0);
  const Shown plain = shown(0.0, scenario), led = shown(whole_delay_s, scenario);
  ASSERT_EQ(plain.volts.size(), led.volts.size());
  double least = 9.0, most = 0.0;
  for (std::size_t k = 0; k < plain.volts.size(); ++k) {
    ASSERT_EQ(plain.volts[k].current_V, led.volts[k].current_V) << k;
    ASSERT_EQ(plain.volts[k].bus_V, led.volts[k].bus_V) << k;
    least = std::min(least, plain.volts[k].current_V);
    most = std::max(most, plain.volts[k].current_V);
  }
  EXPECT_GT(most - least, 0.1);  // there are currents
  EXPECT_NE(plain.volts.back().sin_V, led.volts.back().sin_V);
}

// The record is the plant's own moment, whatever the wires show.
TEST(Lead, TheRecordIsTheSame) {
  const Scenario scenario = turned(5.0, 20.0);
  const Shown plain = shown(0.0, scenario), led = shown(whole_delay_s, scenario);
  ASSERT_EQ(plain.frames.size(), led.frames.size());
  for (std::size_t k = 0; k < plain.frames.size(); ++k)
    ASSERT_EQ(plain.frames[k].value, led.frames[k].value) << k;
}

}  // namespace
}  // namespace stillrotor::test
