// The cycle turn by turn, on a clock turned by hand.
#include "emulator/cycle/cycle.hpp"

#include <gtest/gtest.h>

#include "emulator/cycle/simulated_wires.hpp"
#include "tests/emulator/cycle/support.hpp"

namespace stillrotor::test {
namespace {

Scenario standing(std::int64_t lasts_ps, std::vector<Action> timeline = {}) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = std::move(timeline);
  return scenario;
}

TEST(Cycle, TakesOneTurnAPeriodAndEndsWithTheScenario) {
  CycleRun run(hub_bench(), standing(10 * ms));
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.end_ps, 10 * ms);
  EXPECT_EQ(run.counts.turns, 100U);
  EXPECT_EQ(run.wires.writes, 100U);
  EXPECT_EQ(run.window.turns, 100U);
  EXPECT_EQ(run.counts.missed_periods, 0U);
  EXPECT_EQ(run.counts.late_writes, 0U);
  EXPECT_TRUE(run.gaps().empty());
}

// One plant, two clocks: the same edges, once by stamps through the cycle and once in virtual time,
// give the same world. The steps end at other moments, so currents agree to the integration's
// error.
TEST(Cycle, StampedEdgesGiveWhatVirtualTimeGives) {
  const auto edges = pwm(30 * ms);
  CycleRun wall(hub_bench(), standing(30 * ms));
  wall.wires.script = edges;
  wall.go();

  ScriptedController controller;
  for (const io::Edge& e : edges) controller.drive(e.at.count(), e.line, e.level);
  KeepingSink virtual_sink;
  run(hub_bench(), standing(30 * ms), controller, virtual_sink);

  for (std::uint16_t k = 0; k < io::gate_count; ++k) {
    const auto here = wall.sink.edges_of(io::LineId{k}),
               there = virtual_sink.edges_of(io::LineId{k});
    ASSERT_EQ(here.size(), there.size()) << k;
    ASSERT_GT(here.size(), 500U);
    for (std::size_t j = 0; j < here.size(); ++j) EXPECT_EQ(here[j].at_ps, there[j].at_ps);
  }
  ASSERT_EQ(wall.sink.frames.size(), virtual_sink.frames.size());
  double peak = 0.0;
  for (std::size_t j = 0; j < wall.sink.frames.size(); ++j)
    for (std::size_t s = 0; s < 3; ++s) {
      EXPECT_NEAR(wall.sink.frames[j].value[s], virtual_sink.frames[j].value[s], 1e-4) << j;
      peak = std::max(peak, std::abs(static_cast<double>(wall.sink.frames[j].value[s])));
    }
  EXPECT_GT(peak, 1.0);
  EXPECT_EQ(wall.late_gate_edges, 0U);
}

// 48 V on two phases in series: the first microseconds of i = V t / (2 L), V and L of the hub
// bench.
TEST(Cycle, EdgesActAtTheirStampsNotAtTheTurn) {
  CycleRun run(hub_bench(), standing(1 * ms));
  run.wires.edge(230 * us, io::line::gate_UH, true);
  run.wires.edge(230 * us, io::line::gate_VL, true);
  run.wires.edge(240 * us, io::line::gate_UH, false);
  run.wires.edge(240 * us, io::line::gate_VL, false);
  run.go();
  const Frame& frame = run.sink.frames[4];  // the bin up to 250 us
  EXPECT_NEAR(frame.greatest[0], 48.0 * 10e-6 / (2 * 220e-6), 0.02);
}

TEST(Cycle, EdgesYoungerThanTheDelayWaitForTheNextTurn) {
  CycleRun run(hub_bench(), standing(1 * ms));
  run.plan.delay_ns = 50 * us_ns;
  run.wires.transport_ns = 40 * us_ns;
  run.wires.edge(170 * us, io::line::gate_UL, true);  // comes in 210 us, by the turn of 300 us
  run.go();
  const auto edges = run.sink.edges_of(io::line::gate_UL);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].at_ps, 170 * us);
  EXPECT_EQ(run.late_gate_edges, 0U);
  EXPECT_TRUE(run.gaps().empty());
}

// The same without the delay: the plant has passed 170 us when the edge comes.
TEST(Cycle, AnEdgeThatThePlantHasPassedActsAtOnceAndIsAGap) {
  CycleRun run(hub_bench(), standing(1 * ms));
  run.wires.transport_ns = 40 * us_ns;
  run.wires.edge(170 * us, io::line::gate_UL, true);
  run.go();
  const auto edges = run.sink.edges_of(io::line::gate_UL);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].at_ps, 200 * us);
  EXPECT_EQ(run.late_gate_edges, 1U);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "edge came late");
  EXPECT_EQ(gaps[0].detail, "gates.UL");
  EXPECT_EQ(gaps[0].at_ps, 170 * us);
  EXPECT_EQ(gaps[0].to_ps, 200 * us);
}

TEST(Cycle, EdgesOfASlowerWireAreSortedIn) {
  CycleRun run(hub_bench(), standing(1 * ms));
  run.wires.edge(160 * us, io::line::gate_UH, true);
  run.wires.edge(150 * us, io::line::gate_VL, true);
  run.wires.edge(170 * us, io::line::gate_UH, false);
  run.go();
  ASSERT_EQ(run.sink.edges.size(), 3U);
  EXPECT_EQ(run.sink.edges[0].at_ps, 150 * us);
  EXPECT_EQ(run.sink.edges[1].at_ps, 160 * us);
  EXPECT_EQ(run.sink.edges[2].at_ps, 170 * us);
}

/// Wakes `late_ns` late at the turn due at 1 ms.
struct LateRun : CycleRun {
  explicit LateRun(std::int64_t late_ns) : CycleRun(hub_bench(), standing(3 * ms)) {
    clock.late_ns = [late_ns](std::int64_t due_ns) { return due_ns == ms_ns ? late_ns : 0; };
    go();
  }
};

TEST(Overrun, LatenessWithinThePeriodCostsNothing) {
  const LateRun run(99 * us_ns);
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.counts.turns, 30U);
  EXPECT_EQ(run.counts.missed_periods, 0U);
  EXPECT_EQ(run.counts.wake.max_ns(), 99 * us_ns);
  EXPECT_TRUE(run.gaps().empty());
}

// Late by 350 us: the turns of 1.0, 1.1 and 1.2 ms are skipped, that of 1.3 ms is taken.
TEST(Overrun, MissedPeriodsAreSkippedCountedAndMarkedAndModelTimeStaysWallTime) {
  const LateRun run(350 * us_ns);
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.counts.missed_periods, 3U);
  EXPECT_EQ(run.counts.turns, 27U);
  EXPECT_EQ(run.end_ps, 3 * ms);
  EXPECT_EQ(run.sink.frames.size(), 60U);  // of 20 kHz: the plant left nothing out
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "cycle missed");
  EXPECT_EQ(gaps[0].at_ps, 1 * ms);
  EXPECT_EQ(gaps[0].to_ps, 1350 * us);
}

TEST(Overrun, FourPeriodsAreCaughtUpAndFiveEndTheRun) {
  EXPECT_EQ(LateRun(450 * us_ns).end, CycleEnd::complete);
  const LateRun run(500 * us_ns);
  EXPECT_EQ(run.end, CycleEnd::fell_behind);
  EXPECT_EQ(run.end_ps, 900 * us);
  EXPECT_FALSE(run.gaps().empty());
}

// Each look at the clock takes 40 us: a turn looks five times and is over after its next deadline.
TEST(Overrun, OutputsAfterTheNextDeadlineAreLateAndMarked) {
  CycleRun run(hub_bench(), standing(2 * ms));
  run.clock.look_ns = 40 * us_ns;
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_GT(run.counts.late_writes, 5U);
  ASSERT_FALSE(run.gaps().empty());
  EXPECT_EQ(run.end_ps, 2 * ms);
}

TEST(CycleEnds, WhenTheStopCircuitOpens) {
  CycleRun run(hub_bench(), standing(2 * ms));
  run.wires.inputs.stop_circuit = io::Sensed::on;
  run.wires.stop_opens_after = 7;
  run.go();
  EXPECT_EQ(run.end, CycleEnd::emergency_stop);
  EXPECT_EQ(run.wires.writes, 7U);
}

TEST(CycleEnds, WhenTheWiresDoNotFollow) {
  CycleRun run(hub_bench(), standing(2 * ms));
  run.wires.fails_at_write = 5;
  run.go();
  EXPECT_EQ(run.end, CycleEnd::wires_failed);
  EXPECT_EQ(run.wires.writes, 5U);
}

TEST(CycleEnds, WhenAskedAndWhenTheWatchdogHasFired) {
  CycleRun asked(hub_bench(), standing(2 * ms));
  asked.window.stop = true;
  asked.go();
  EXPECT_EQ(asked.end, CycleEnd::asked);
  CycleRun fired(hub_bench(), standing(2 * ms));
  fired.window.watchdog_fired = true;
  fired.go();
  EXPECT_EQ(fired.end, CycleEnd::watchdog);
  EXPECT_EQ(fired.wires.writes, 0U);
}

TEST(Outputs, NothingFeedsAControllerWithoutItsSupply) {
  Scenario scenario = standing(2 * ms, {action(1 * ms, ActionKind::key, 1.0)});
  scenario.start.key = false;
  CycleRun run(hub_bench(), scenario);
  std::vector<io::WireOutputs> written;
  run.wires.on_write = [&](const io::WireOutputs& o) { written.push_back(o); };
  run.go();
  ASSERT_EQ(written.size(), 20U);
  const std::uint32_t all = (1U << io::line_count) - 1, key = 1U << io::index(io::line::key);
  for (std::size_t k = 0; k < 9; ++k) {  // up to 0.9 ms
    EXPECT_EQ(written[k].released, all & ~key);
    EXPECT_EQ(written[k].high & key, 0U);
    EXPECT_EQ(written[k].volts[io::index(io::channel::throttle)], 0.0);
  }
  EXPECT_NE(written[9].high & key, 0U);
  EXPECT_EQ(written[9].released >> io::index(io::line::hall_U) & 1U, 0U);
  EXPECT_EQ(written[9].volts[io::index(io::channel::throttle)], 0.85);
  EXPECT_EQ(written[9].volts[io::index(io::channel::phase_current_U)], 2.5);  // no current
  EXPECT_NE(written[9].released & 1U, 0U);  // gates are the controller's
}

TEST(Outputs, TheKickLineChangesEveryTurn) {
  CycleRun run(hub_bench(), standing(1 * ms));
  std::vector<bool> kicks;
  run.wires.on_write = [&](const io::WireOutputs& o) { kicks.push_back(o.kick); };
  run.go();
  for (std::size_t k = 1; k < kicks.size(); ++k) EXPECT_NE(kicks[k], kicks[k - 1]);
}

// hub_bench pulls Halls up: an open line reads high; one without a pull floats.
TEST(Outputs, WireFaultsOfTheScenarioReachTheWires) {
  const Scenario scenario =
      standing(2 * ms, {fault(1 * ms, hall_line_open, 0), fault(1 * ms, hall_line_open, 2)});
  Bench bench = hub_bench();
  bench.harness.lines[io::index(io::line::hall_W)].pull = Pull::none;
  CycleRun run(bench, scenario);
  run.go();
  EXPECT_TRUE(run.wires.reads_high(io::line::hall_U));
  EXPECT_TRUE(run.wires.is_released(io::line::hall_W));
  EXPECT_FALSE(run.wires.is_released(io::line::hall_V));
}

// 20 mV/A: 2 A more than none on 2.5 V; the DC link's bus reads 80 % of 48 V / 20.
TEST(Outputs, FaultsOfSensorsReachTheConverters) {
  Action offset = fault(1 * ms, current_sensor_offset, 0, false, 2.0);
  Action wrong = fault(1 * ms, bus_voltage_sensor_wrong, 0.8, false, 0.0);
  Action open = fault(1 * ms, throttle_wire_open, 0.1);
  CycleRun run(hub_bench(), standing(2 * ms, {offset, wrong, open}));
  io::WireOutputs last;
  run.wires.on_write = [&](const io::WireOutputs& o) { last = o; };
  run.go();
  EXPECT_NEAR(last.volts[io::index(io::channel::phase_current_U)], 2.54, 1e-9);
  EXPECT_NEAR(last.volts[io::index(io::channel::bus_voltage)], 0.8 * 2.4, 1e-6);
  EXPECT_NEAR(last.volts[io::index(io::channel::throttle)], 0.1, 1e-12);
}

TEST(Harness, PolarityOfActiveLowGatesIsTheWiresMatter) {
  Bench bench = hub_bench();
  for (std::size_t k = 0; k < io::gate_count; ++k) bench.harness.lines[k].active_high = false;
  CycleRun run(bench, standing(1 * ms));
  run.wires.edge(150 * us, io::line::gate_UH, true);
  run.go();
  const auto edges = run.sink.edges_of(io::line::gate_UH);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].level, 1);
}

TEST(Gaps, OfTheWiresAreMarkedAndThoseThatTouchBecomeOne) {
  CycleRun run(hub_bench(), standing(30 * ms));
  for (std::int64_t t = 1; t <= 3; ++t)
    run.wires.gaps.push_back({io::Time(t * ms), io::Time(t * ms + 100 * us), io::line::gate_UH, 0});
  run.wires.gaps.push_back({io::Time(20 * ms), io::Time(21 * ms), io::line::gate_UH, 3});
  run.go();
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 2U);
  EXPECT_EQ(gaps[0].name, "edges may be missing");
  EXPECT_EQ(gaps[0].detail, "gates.UH");
  EXPECT_EQ(gaps[0].at_ps, 1 * ms);
  EXPECT_EQ(gaps[0].to_ps, 3100 * us);
  EXPECT_EQ(gaps[1].at_ps, 20 * ms);
}

TEST(Scenario, HappensAtItsOwnPicosecondNotAtTheTurn) {
  CycleRun run(hub_bench(), standing(2 * ms, {action(1'234'567'890, ActionKind::brake, 1.0)}));
  run.go();
  const auto edges = run.sink.edges_of(io::line::brake);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].at_ps, 1'234'567'890);
}

// One turn is 100 us. What comes for a time that the turns have passed, or are at, is told back and
// never done.
TEST(Live, WhatAPersonDoesHappensAtItsTimeOrNotAtAll) {
  CycleRun run(hub_bench(), standing(50 * ms, {}));
  LiveControl live(false);
  run.plan.live = &live;
  EXPECT_FALSE(live.pause());
  std::int64_t brake_ps = 0;
  std::vector<LiveControl::Answer> answers;
  const auto offer = [&](std::int64_t at_ps, double on) {
    EXPECT_TRUE(live.offer(std::make_unique<const Action>(action(at_ps, ActionKind::brake, on))));
  };
  run.wires.on_write = [&](const io::WireOutputs&) {
    if (const auto answer = live.answer(); answer != LiveControl::Answer::none)
      answers.push_back(answer);
    if (run.wires.writes == 20) offer(brake_ps = live.earliest_ps(), 1.0);
    if (run.wires.writes == 100) offer(run.clock.now * 1000, 0.0);
    if (run.wires.writes == 110) offer((run.clock.now + 2 * 100 * us_ns) * 1000 - 1, 0.0);
    if (run.wires.writes == 120) offer((run.clock.now + 2 * 100 * us_ns) * 1000, 0.0);
    if (run.wires.writes == 150) live.stop();
  };
  run.go();
  using enum LiveControl::Answer;
  EXPECT_EQ(answers, (std::vector{taken, late, late, taken}));
  const auto edges = run.sink.edges_of(io::line::brake);
  ASSERT_EQ(edges.size(), 2U);
  EXPECT_EQ(edges[0].at_ps, brake_ps);
  EXPECT_EQ(brake_ps % ms, 0);
  EXPECT_EQ(edges[1].at_ps, (12 * ms + 200 * us));
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.end_ps, 15 * ms);
}

// The six-step stand-in starts the hub machine through the cycle as it does in virtual time: it
// sees Halls up to two turns late, which at the speeds of the first second is below one degree.
TEST(StandIn, DrivesThroughTheCycleAsInVirtualTime) {
  const Bench bench = hub_bench();
  const Scenario scenario = drive_off(400 * ms, 2.6);
  HandClock clock;
  const auto controller = io::make_controller(bench.controller);
  SimulatedWires wires(*controller, bench.controller_supply_V, bench.harness, clock);
  KeepingSink sink, virtual_sink;
  WiredBench wired(bench, scenario, wires, sink);
  CycleWindow window;
  CycleCounts counts;
  wired.begin();
  const CyclePlan plan{.period_ns = 50 * us_ns, .lasts_ps = scenario.lasts_ps};
  EXPECT_EQ(run_cycle(wired, clock, plan, 0, window, counts), CycleEnd::complete);
  run(bench, scenario, virtual_sink);

  constexpr auto speed = static_cast<std::size_t>(Signal::speed);
  const double there = virtual_sink.frames.back().value[speed];
  EXPECT_GT(there, 5.0);
  EXPECT_NEAR(sink.frames.back().value[speed], there, 0.1 * there);
  EXPECT_EQ(sink.find("shoot-through"), nullptr);
  EXPECT_EQ(wires.counts().lost_edges, 0U);
  EXPECT_EQ(wired.gate_report().cleaning.late, 0U);
}

}  // namespace
}  // namespace stillrotor::test
