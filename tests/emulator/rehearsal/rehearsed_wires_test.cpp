// A controller behind wires in virtual time: when it sees what was written, and what it drives.
#include "emulator/rehearsal/rehearsed_wires.hpp"

#include <gtest/gtest.h>

#include <memory>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

struct Rig {
  Rig() {
    connect_all(harness);
    route.lines.edges_in_per_s = 1e9;
    route.lines.write_s = 3e-6;
    route.volts = {"", 25e-6, 0.01, ""};
  }
  RehearsedWires& wires() {
    if (!built) built.emplace(controller, 5.0, harness, route, 1U);
    return *built;
  }
  void turn(std::int64_t now_ps, double throttle_V = 1.0, std::uint32_t high = 0,
            bool powered = true) {
    wires().stand_at(now_ps);
    batch->clear();
    wires().read(*batch);
    io::WireOutputs outputs;
    outputs.high = high;
    outputs.powered = powered;
    outputs.volts[io::index(io::channel::throttle)] = throttle_V;
    wires().write(outputs);
  }

  ScriptedController controller;
  Harness harness;
  RehearsedRoute route;
  std::optional<RehearsedWires> built;
  std::unique_ptr<io::EdgeBatch> batch = std::make_unique<io::EdgeBatch>();
};

TEST(RehearsedWires, LevelsReachThePinsOneWriteAfterTheTurn) {
  Rig rig;
  const std::uint32_t hall = 1U << io::index(io::line::hall_U);
  rig.turn(100 * us);
  rig.turn(200 * us, 1.0, hall);
  rig.turn(300 * us, 1.0, hall);
  ASSERT_EQ(rig.controller.powered.size(), 1U);
  EXPECT_EQ(rig.controller.powered[0].first, 103 * us);
  ASSERT_EQ(rig.controller.delivered.size(), 1U);
  EXPECT_EQ(rig.controller.delivered[0].at.count(), 203 * us);
  EXPECT_EQ(rig.controller.delivered[0].line, io::line::hall_U);
}

// 1.234 V in steps of 10 mV: 1.23 V, 25 us after the turn and no sooner.
TEST(RehearsedWires, VoltsStandInTheConvertersStepsAfterItsDelayAndAreHeld) {
  Rig rig;
  std::vector<double> seen;
  for (const std::int64_t t : {224 * us, 225 * us, 324 * us, 326 * us})
    rig.controller.at(t, [&seen](io::World& world, io::Time at) {
      seen.push_back(world.volts(io::channel::throttle, at));
    });
  rig.turn(100 * us, 1.0);
  rig.turn(200 * us, 1.234);
  rig.turn(300 * us, 2.0);
  rig.turn(400 * us, 3.0);
  EXPECT_EQ(seen, (std::vector{1.0, 1.23, 1.23, 2.0}));
  EXPECT_EQ(rig.wires().counts().late_transfers, 0U);
}

// 150 us a frame, a turn each 100 us. 100's is there at 250, 200's waits and is there at 400, 300's
// waits until 550, and 400's finds both done.
TEST(RehearsedWires, AConverterThatIsStillBusyShowsTheNextFrameLaterAndIsCounted) {
  Rig rig;
  rig.route.volts.delay_s = 150e-6;
  std::vector<double> seen;
  for (const std::int64_t t : {249 * us, 251 * us, 399 * us, 401 * us, 549 * us, 551 * us})
    rig.controller.at(t, [&seen](io::World& world, io::Time at) {
      seen.push_back(world.volts(io::channel::throttle, at));
    });
  for (int k = 1; k <= 6; ++k) rig.turn(k * 100 * us, k);
  EXPECT_EQ(seen, (std::vector{0.0, 1.0, 1.0, 2.0, 2.0, 3.0}));
  EXPECT_GT(rig.wires().counts().late_transfers, 0U);
}

TEST(RehearsedWires, WhatItDrivesComesAsOnAndOffAfterPolarity) {
  Rig rig;
  rig.harness.lines[io::index(io::line::gate_UH)].active_high = false;
  rig.controller.drive(150 * us, io::line::gate_UH, io::Level::low);
  rig.controller.drive(160 * us, io::line::gate_UH, io::Level::high);
  rig.turn(100 * us);
  rig.turn(200 * us);
  ASSERT_EQ(rig.batch->edge_count, 2U);
  EXPECT_EQ(rig.batch->edges[0].level, io::Level::high);
  EXPECT_EQ(rig.batch->edges[0].at.count(), 150 * us);
  EXPECT_EQ(rig.batch->edges[1].level, io::Level::low);
}

TEST(RehearsedWires, OneThatCrashesOrLosesItsSupplyLetsGoOfItsGates) {
  for (const bool crash : {true, false}) {
    Rig rig;
    rig.controller.drive(150 * us, io::line::gate_UH, io::Level::high);
    rig.controller.at(250 * us, [&](io::World&, io::Time) {
      if (crash) rig.controller.state = io::Health::crashed;
    });
    rig.turn(100 * us);
    rig.turn(200 * us, 1.0, 0, crash);  // else the supply goes
    EXPECT_EQ(rig.batch->edge_count, 1U);
    rig.turn(300 * us, 1.0, 0, crash);
    ASSERT_EQ(rig.batch->edge_count, 1U);
    EXPECT_EQ(rig.batch->edges[0].line, io::line::gate_UH);
    EXPECT_EQ(rig.batch->edges[0].level, io::Level::low);
    EXPECT_EQ(rig.wires().health(), crash ? io::Health::crashed : io::Health::running);
  }
}

}  // namespace
}  // namespace stillrotor::test
