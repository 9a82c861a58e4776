// A bench's own cycle in virtual time, beside the exact run.
#include "emulator/rehearsal/rehearsed_run.hpp"

#include <gtest/gtest.h>

#include "io/doubt.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

RehearsedRoute perfect() {
  RehearsedRoute route;
  route.asked = "perfect";
  route.lines.edges_in_per_s = 1e12;
  route.lines.finds_loss = true;
  route.burst_edges = 1e6;
  return route;
}

RehearsedOutcome rehearse(const Bench& bench, const Scenario& scenario, const RehearsedRoute& route,
                          RunSink& sink) {
  const auto controller = io::make_controller(bench.controller);
  return run_rehearsed(bench, scenario, *controller, route, sink);
}

double end_speed(const KeepingSink& sink) {
  return static_cast<double>(sink.frames.back().value[static_cast<std::size_t>(Signal::speed)]);
}

// Wires without any error, looked at every 2 us: what is left is 2 us of hold and delay, against
// PWM periods of 62.5 us. Tolerance: 1 % of the speed.
TEST(RehearsedRun, OnPerfectWiresAndAFastCycleIsTheExactRun) {
  for (Bench bench : {hub_bench(), mid_bench()}) {
    bench.cycle.period_s = 2e-6;
    bench.cycle.delay_s = 0.0;
    const Scenario scenario = drive_off(300 * ms, 2.2);
    KeepingSink exact, rehearsed;
    run(bench, scenario, exact);
    const RehearsedOutcome outcome = rehearse(bench, scenario, perfect(), rehearsed);
    EXPECT_EQ(outcome.run.end_ps, scenario.lasts_ps);
    EXPECT_EQ(outcome.run.controller, io::Health::running);
    ASSERT_GT(end_speed(exact), 1.0) << bench.name;
    EXPECT_NEAR(end_speed(rehearsed) / end_speed(exact), 1.0, 0.01) << bench.name;
    EXPECT_EQ(rehearsed.find("edges may be missing"), nullptr);
  }
}

TEST(RehearsedRun, IsTheSameEveryTimeAndSaysWhatItIs) {
  Bench bench = hub_bench();
  RehearsedRoute route = perfect();
  route.lines.stamp_jitter_s = 1e-6;
  const Scenario scenario = drive_off(100 * ms, 2.2);
  KeepingSink first, second;
  rehearse(bench, scenario, route, first);
  rehearse(bench, scenario, route, second);
  ASSERT_EQ(first.edges.size(), second.edges.size());
  for (std::size_t k = 0; k < first.edges.size(); ++k)
    ASSERT_EQ(first.edges[k].at_ps, second.edges[k].at_ps);
  ASSERT_NE(first.find("rehearsal"), nullptr);
  EXPECT_EQ(first.find("rehearsal")->detail.substr(0, 9), "perfect: ");
}

TEST(RehearsedRun, ControllersThatCrashAreToldAndTheRunGoesOn) {
  Bench bench = hub_bench();
  const Scenario scenario = drive_off(50 * ms, 2.2);
  ScriptedController controller;
  controller.at(10 * ms, [&controller](io::World&, io::Time) {
    controller.state = io::Health::crashed;
    controller.why = "it was told to";
  });
  KeepingSink sink;
  const RehearsedOutcome outcome = run_rehearsed(bench, scenario, controller, perfect(), sink);
  EXPECT_EQ(outcome.run.controller, io::Health::crashed);
  EXPECT_EQ(outcome.run.end_ps, scenario.lasts_ps);
  ASSERT_NE(sink.find("controller crashed"), nullptr);
  EXPECT_EQ(sink.find("controller crashed")->detail, "it was told to");
}

class Doubtful final : public ScriptedController, public io::Doubter {
 public:
  std::optional<io::Doubt> doubt() const override {
    return io::Doubt{io::Time(20 * ms), "it has no such timer"};
  }
};

// As in the exact run: what only a real chip does is not to be judged from there on.
TEST(RehearsedRun, WhatIsNotModelledIsAGapToTheEndInBothRuns) {
  const Scenario scenario = drive_off(50 * ms, 2.2);
  KeepingSink exact, rehearsed;
  Doubtful one, other;
  run_virtual(hub_bench(), scenario, one, exact);
  run_rehearsed(hub_bench(), scenario, other, perfect(), rehearsed);
  for (const KeepingSink* sink : {&exact, &rehearsed}) {
    const KeptMark* gap = sink->find("not modelled");
    ASSERT_NE(gap, nullptr);
    EXPECT_EQ(gap->kind, MarkKind::gap);
    EXPECT_EQ(gap->at_ps, 20 * ms);
    EXPECT_EQ(gap->to_ps, scenario.lasts_ps);
  }
}

// 12 x 16 kHz edges of field-oriented PWM through 10,000 edges/s: the bench is told, and the
// stretch is not to be trusted.
TEST(RehearsedRun, MoreEdgesThanTheRouteTakesAreGapsOfTheRecord) {
  RehearsedRoute route = perfect();
  route.lines.edges_in_per_s = 10e3;
  route.burst_edges = 16.0;
  KeepingSink sink;
  const RehearsedOutcome outcome = rehearse(mid_bench(), drive_off(100 * ms, 2.2), route, sink);
  EXPECT_GT(outcome.gone, 1000U);
  EXPECT_GT(outcome.wires.lost_edges, 1000U);
  const KeptMark* gap = sink.find("edges may be missing");
  ASSERT_NE(gap, nullptr);
  EXPECT_EQ(gap->kind, MarkKind::gap);
}

}  // namespace
}  // namespace stillrotor::test
