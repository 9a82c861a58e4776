// A whole run on the wall clock: what it refuses, and how it leaves the wires. Nothing here depends
// on how fast this computer is: a run that falls behind is a run that ended, too.
#include "emulator/cycle/wall_run.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/cycle/simulated_wires.hpp"
#include "tests/emulator/cycle/support.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;

struct WallRun {
  explicit WallRun(std::int64_t lasts_ps = 30 * ms) : scenario(drive_off(lasts_ps, 2.6)) {
    bench.cycle.period_s = 1e-3;
    bench.cycle.watchdog_periods = 1000;
  }
  WallOutcome go() {
    WallOptions options;
    options.allow_soft = true;
    options.live = live;
    OpenWires open(wires);
    return run_wall(bench, scenario, open, sink, options);
  }

  Bench bench = hub_bench();
  Scenario scenario;
  MonotonicClock clock;
  ScriptedWires wires{clock};
  KeepingSink sink;
  LiveControl* live = nullptr;
};

TEST(WallRun, LeavesTheWiresSafeAndGivenBack) {
  WallRun run;
  const WallOutcome outcome = run.go();
  EXPECT_TRUE(run.wires.opened && run.wires.safe && run.wires.closed);
  EXPECT_EQ(run.wires.writes, outcome.cycle.counts.turns);
  EXPECT_EQ(run.sink.frames.size(), static_cast<std::size_t>(outcome.run.end_ps / (50 * us)));
  EXPECT_EQ(outcome.run.interrupted, outcome.cycle.end != CycleEnd::complete);
  EXPECT_NE(run.sink.find("key on"), nullptr);
}

// What is done before the start waits for its time in the run; the end comes where it was asked
// for.
TEST(WallRun, APersonStartsItAndStopsIt) {
  WallRun run(3600 * second);
  LiveControl live(false);
  run.live = &live;
  std::thread person([&] {
    const auto until = [](const auto& holds) {
      while (!holds()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    };
    live.offer(std::make_unique<const Action>(action(5 * ms, ActionKind::brake, 1.0)));
    LiveControl::Answer answer{};
    until([&] { return (answer = live.answer()) != LiveControl::Answer::none; });
    EXPECT_EQ(answer, LiveControl::Answer::taken);
    EXPECT_EQ(live.phase(), LivePhase::waiting);
    EXPECT_EQ(live.now_ps(), 0);
    live.start();
    until([&] { return live.now_ps() > 10 * ms || live.phase() == LivePhase::ended; });
    live.stop();
  });
  const WallOutcome outcome = run.go();
  person.join();
  EXPECT_EQ(live.phase(), LivePhase::ended);
  EXPECT_EQ(live.end_ps(), outcome.run.end_ps);
  EXPECT_TRUE(run.wires.safe && run.wires.closed);
  if (outcome.run.interrupted) return;  // it fell behind: it has ended, too
  EXPECT_TRUE(outcome.run.stopped);
  EXPECT_GT(outcome.run.end_ps, 10 * ms);
  const auto edges = run.sink.edges_of(io::line::brake);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].at_ps, 5 * ms);
}

TEST(WallRun, ThatIsStoppedBeforeItsStartArmsNothing) {
  WallRun run;
  LiveControl live(false);
  run.live = &live;
  live.stop();
  const WallOutcome outcome = run.go();
  EXPECT_TRUE(outcome.run.interrupted);
  EXPECT_EQ(outcome.run.end_ps, 0);
  EXPECT_EQ(live.phase(), LivePhase::ended);
  EXPECT_EQ(run.wires.writes, 0U);
  EXPECT_TRUE(run.wires.safe && run.wires.closed);
}

TEST(WallRun, DoesNotArmWhileTheStopCircuitIsOpen) {
  WallRun run;
  run.wires.inputs.stop_circuit = io::Sensed::off;
  try {
    run.go();
    FAIL() << "armed";
  } catch (const NotPermitted& error) {
    EXPECT_THAT(error.what(), HasSubstr("emergency stop"));
  }
  EXPECT_EQ(run.wires.writes, 0U);
  EXPECT_TRUE(run.wires.safe && run.wires.closed);
}

TEST(WallRun, DoesNotArmBesideALivePowerStage) {
  WallRun run;
  run.wires.inputs.bus_dead = io::Sensed::off;
  try {
    run.go();
    FAIL() << "armed";
  } catch (const NotPermitted& error) {
    EXPECT_THAT(error.what(), HasSubstr("not measured dead"));
  }
  EXPECT_EQ(run.wires.writes, 0U);
  EXPECT_TRUE(run.wires.safe && run.wires.closed);
}

TEST(WallRun, ArmsWhereBothLinesSayThatItMay) {
  WallRun run;
  run.wires.inputs = {io::Sensed::on, io::Sensed::on};
  run.go();
  EXPECT_GT(run.wires.writes, 0U);
}

TEST(WallRun, AnEmergencyStopEndsItSafeAndTheRecordSaysSo) {
  WallRun run(10'000 * ms);
  run.bench.cycle.period_s = 5e-3;  // so that no busy computer ends it first
  run.wires.stop_opens_after = 5;
  const WallOutcome outcome = run.go();
  EXPECT_EQ(outcome.cycle.end, CycleEnd::emergency_stop);
  EXPECT_TRUE(outcome.run.interrupted);
  EXPECT_TRUE(run.wires.safe);
  ASSERT_NE(run.sink.find("run ended"), nullptr);
  EXPECT_THAT(run.sink.find("run ended")->detail, HasSubstr("emergency stop"));
}

}  // namespace
}  // namespace stillrotor::test
