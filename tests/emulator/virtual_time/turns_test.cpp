// Plant and controller take turns: what one does reaches the other at its own moment.
#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Edge;
using io::Level;

/// The hub machine turned by a dynamometer-like inertia: free, heavy, no friction.
Bench coasting_bench() {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e6;
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  return bench;
}

Scenario coasting(std::int64_t lasts_ps) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.start.speed_rad_s = 10.0;  // 150 rad/s electrical
  return scenario;
}

/// When the Hall lines change while the machine coasts.
std::vector<Edge> coasting_hall_edges() {
  ScriptedController idle;
  KeepingSink sink;
  run(coasting_bench(), coasting(100 * ms), idle, sink);
  return idle.delivered;
}

// By hand: 150 rad/s electrical, three lines flip twice a turn: 6 * 150 / 2 pi = 143.2 a second,
// pi / 3 / 150 rad/s = 6.98132 ms apart.
TEST(HallEdges, ComeAtTheAnglesTheyStandFor) {
  const auto edges = coasting_hall_edges();
  ASSERT_EQ(edges.size(), 14U);
  for (std::size_t k = 1; k < edges.size(); ++k)
    EXPECT_NEAR(static_cast<double>((edges[k].at - edges[k - 1].at).count()), 6.98131701e9, 2e3);
}

TEST(HallEdges,
     AreDeliveredWhenTheControllerHasReachedThemAndNotPassedThemByMoreThanOneInstruction) {
  constexpr std::int64_t instruction_ps = 62'500;  // one cycle of 16 MHz
  ScriptedController controller(instruction_ps);
  std::vector<std::int64_t> late_ps;
  controller.on_edge = [&](const Edge& edge, ScriptedController& c) {
    late_ps.push_back(c.run(io::Time(0)).count() - edge.at.count());
  };
  KeepingSink sink;
  run(coasting_bench(), coasting(100 * ms), controller, sink);
  ASSERT_EQ(late_ps.size(), 14U);
  for (const std::int64_t late : late_ps) {
    EXPECT_GE(late, 0);
    EXPECT_LE(late, instruction_ps);
  }
}

/// Gate edges of a made-up pattern, a whole period of them around each of the given moments.
void script_gates(ScriptedController& controller, const std::vector<std::int64_t>& moments) {
  for (const std::int64_t t : moments) {
    controller.drive(t, io::line::gate_UH, Level::high);
    controller.drive(t + 1, io::line::gate_VL, Level::high);
    controller.drive(t + 300 * us, io::line::gate_UH, Level::low);
    controller.drive(t + 301 * us, io::line::gate_VL, Level::low);
  }
}

// A look ahead that is taken back must leave nothing behind. Halls do not act on the machine: with
// gate edges a picosecond to a microsecond before each Hall edge (look ahead opened, then taken
// back), currents must be those of a machine without Halls (no look ahead at all). Tolerance: the
// steps of integration are cut differently; single precision of a frame is 6e-8 of some 40 A.
TEST(LookAhead, TakenBackLeavesNoTrace) {
  std::vector<std::int64_t> moments;
  const std::int64_t before_ps[] = {1, 2, 500, 1'999, 2'001, 10'000, 1'000'000};
  std::size_t n = 0;
  for (const Edge& edge : coasting_hall_edges())
    moments.push_back(edge.at.count() - before_ps[n++ % std::size(before_ps)]);

  KeepingSink with, without;
  ScriptedController one, other;
  script_gates(one, moments);
  script_gates(other, moments);
  run(coasting_bench(), coasting(100 * ms), one, with);
  Bench blind = coasting_bench();
  blind.drive.hall.fitted = false;
  run(blind, coasting(100 * ms), other, without);

  ASSERT_EQ(with.edges_of(io::line::hall_U).size(), 5U);
  ASSERT_EQ(without.edges_of(io::line::hall_U).size(), 0U);
  EXPECT_EQ(with.edges_of(io::line::gate_UH).size(), 2 * moments.size());
  ASSERT_EQ(with.frames.size(), without.frames.size());
  float greatest = 0.0F;
  for (std::size_t k = 0; k < with.frames.size(); ++k) {
    for (std::size_t s = 0; s < 6; ++s) {
      EXPECT_NEAR(with.frames[k].value[s], without.frames[k].value[s], 1e-4) << k << ' ' << s;
      EXPECT_NEAR(with.frames[k].least[s], without.frames[k].least[s], 1e-4) << k << ' ' << s;
      EXPECT_NEAR(with.frames[k].greatest[s], without.frames[k].greatest[s], 1e-4) << k << ' ' << s;
    }
    EXPECT_NEAR(with.frames[k].value[6], without.frames[k].value[6], 1e-4) << k;
    greatest = std::max(greatest, with.frames[k].greatest[0]);
  }
  EXPECT_GT(greatest, 10.0F);  // there was something to get wrong
}

TEST(GateEdges, ActAtTheirOwnPicosecond) {
  ScriptedController controller(62'500);
  controller.drive(10 * ms + 1, io::line::gate_UH, Level::high);
  controller.drive(10 * ms + 12'345, io::line::gate_UH, Level::low);
  KeepingSink sink;
  const RunOutcome outcome = run(coasting_bench(), coasting(20 * ms), controller, sink);
  const auto edges = sink.edges_of(io::line::gate_UH);
  ASSERT_EQ(edges.size(), 2U);
  EXPECT_EQ(edges[0].at_ps, 10 * ms + 1);
  EXPECT_EQ(edges[1].at_ps, 10 * ms + 12'345);
  EXPECT_EQ(outcome.gate_edges, 2U);
  EXPECT_EQ(outcome.late_gate_edges, 0U);
}

TEST(GateEdges, ThatChangeNothingAreNotRecorded) {
  ScriptedController controller;
  controller.drive(ms, io::line::gate_UH, Level::low);
  controller.drive(2 * ms, io::line::gate_UH, Level::released);
  controller.drive(3 * ms, io::line::gate_UH, Level::high);
  controller.drive(4 * ms, io::line::gate_UH, Level::high);
  KeepingSink sink;
  run(coasting_bench(), coasting(10 * ms), controller, sink);
  EXPECT_EQ(sink.edges_of(io::line::gate_UH).size(), 1U);
}

// A late report: the edge acts at the present, time does not run backwards, and it is counted. Here
// a read at 5 ms brings the plant there, then the controller claims an edge 1 us earlier.
TEST(GateEdges, ReportedTooLateActAtOnceAndAreCounted) {
  ScriptedController controller;
  controller.at(5 * ms, [](io::World& w, io::Time t) { w.volts(io::channel::bus_voltage, t); });
  controller.at(
      5 * ms,
      [](io::World& w, io::Time t) {
        w.drive({t - io::Time(us), io::line::gate_UH, Level::high});
      },
      true);
  KeepingSink sink;
  const RunOutcome outcome = run(coasting_bench(), coasting(10 * ms), controller, sink);
  EXPECT_EQ(outcome.late_gate_edges, 1U);
  const auto edges = sink.edges_of(io::line::gate_UH);
  ASSERT_EQ(edges.size(), 1U);
  EXPECT_EQ(edges[0].at_ps, 5 * ms);
}

TEST(Ties, GoScenarioFirstThenGatesThenSensors) {
  const Edge hall = coasting_hall_edges().at(3);
  ScriptedController controller;
  controller.drive(hall.at.count(), io::line::gate_UH, Level::high);
  KeepingSink sink;
  Scenario scenario = coasting(100 * ms);
  scenario.timeline = {action(hall.at.count(), ActionKind::brake, 1.0)};
  run(coasting_bench(), scenario, controller, sink);
  std::vector<std::size_t> order;
  for (const LineEdge& edge : sink.edges)
    if (edge.at_ps == hall.at.count()) order.push_back(edge.line);
  EXPECT_EQ(order, (std::vector<std::size_t>{io::index(io::line::brake),
                                             io::index(io::line::gate_UH), io::index(hall.line)}));
}

// The first reading is taken while the plant looks ahead to a Hall edge, the second after it.
TEST(Reads, SeeTheMomentTheyAskFor) {
  const Edge hall = coasting_hall_edges().at(2);
  ScriptedController controller;
  std::vector<Level> levels;
  std::vector<double> volts;
  for (const std::int64_t offset_ps : {-1, +1})
    controller.at(hall.at.count() + offset_ps, [&](io::World& w, io::Time t) {
      levels.push_back(w.level(hall.line, t));
      volts.push_back(w.volts(io::channel::bus_voltage, t));
    });
  KeepingSink sink;
  run(coasting_bench(), coasting(100 * ms), controller, sink);
  ASSERT_EQ(levels.size(), 2U);
  EXPECT_NE(levels[0], levels[1]);
  EXPECT_EQ(levels[1], hall.level);
  EXPECT_NEAR(volts[0], 48.0 * 0.05, 1e-6);     // divider 0.05 on an unloaded battery
  EXPECT_EQ(controller.delivered.size(), 14U);  // and every edge is delivered all the same
}

TEST(Reads, OfAnUnconnectedChannelAreZero) {
  Bench bench = coasting_bench();
  bench.harness.channels[io::index(io::channel::bus_voltage)] = false;
  ScriptedController controller;
  double volts = -1.0;
  controller.at(ms,
                [&](io::World& w, io::Time t) { volts = w.volts(io::channel::bus_voltage, t); });
  KeepingSink sink;
  run(bench, coasting(10 * ms), controller, sink);
  EXPECT_EQ(volts, 0.0);
}

TEST(Texts, ReachTheRecordWithTheirMoment) {
  ScriptedController controller;
  controller.at(3 * ms, [](io::World& w, io::Time t) { w.text(t, "ready"); });
  KeepingSink sink;
  run(coasting_bench(), coasting(10 * ms), controller, sink);
  const KeptMark* said = sink.find("controller");
  ASSERT_NE(said, nullptr);
  EXPECT_EQ(said->kind, MarkKind::text);
  EXPECT_EQ(said->at_ps, 3 * ms);
  EXPECT_EQ(said->detail, "ready");
}

}  // namespace
}  // namespace stillrotor::test
