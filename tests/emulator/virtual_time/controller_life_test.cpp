// The controller under test is switched on and off, and may crash, hang or come to its end: the
// gates go off, the record says so, and the run goes on.
#include <gtest/gtest.h>

#include <stdexcept>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Health;
using io::Level;

Scenario with_key(bool on_at_start, std::vector<Action> timeline = {}) {
  Scenario scenario;
  scenario.lasts_ps = 50 * ms;
  scenario.start.key = on_at_start;
  scenario.timeline = std::move(timeline);
  return scenario;
}

void expect_gates_off_after(const KeepingSink& sink, std::int64_t t_ps) {
  for (std::uint16_t k = 0; k < io::gate_count; ++k) {
    const auto edges = sink.edges_of(io::LineId{k});
    if (edges.empty()) continue;
    EXPECT_EQ(edges.back().level, 0) << k;
    EXPECT_LE(edges.back().at_ps, t_ps) << k;
  }
}

TEST(Key, SwitchesTheControllersSupplyAndItsLine) {
  ScriptedController controller;
  controller.drive(6 * ms, io::line::gate_UH, Level::high);
  KeepingSink sink;
  run(hub_bench(),
      with_key(false, {action(5 * ms, ActionKind::key, 1.0), action(9 * ms, ActionKind::key, 0.0)}),
      controller, sink);
  EXPECT_EQ(controller.powered,
            (std::vector<std::pair<std::int64_t, double>>{{5 * ms, 5.0}, {9 * ms, 0.0}}));
  const auto key = sink.edges_of(io::line::key);
  ASSERT_EQ(key.size(), 2U);
  EXPECT_EQ(key[0].at_ps, 5 * ms);
  EXPECT_EQ(key[1].level, 0);
  ASSERT_EQ(sink.edges_of(io::line::gate_UH).size(), 2U);
  expect_gates_off_after(sink, 9 * ms);
}

// A controller beside whose supply the key is a line: up from the start, on through the key's off.
TEST(Key, MayBeALineToAControllerThatStaysSupplied) {
  ScriptedController controller;
  controller.drive(2 * ms, io::line::gate_UH, Level::high);
  controller.drive(11 * ms, io::line::gate_UH, Level::low);
  KeepingSink sink;
  Bench bench = hub_bench();
  bench.controller_stays_supplied = true;
  run(bench,
      with_key(false, {action(5 * ms, ActionKind::key, 1.0), action(9 * ms, ActionKind::key, 0.0)}),
      controller, sink);
  EXPECT_EQ(controller.powered, (std::vector<std::pair<std::int64_t, double>>{{0, 5.0}}));
  std::vector<std::pair<std::int64_t, Level>> key;
  for (const io::Edge& edge : controller.delivered)
    if (edge.line == io::line::key) key.emplace_back(edge.at.count(), edge.level);
  EXPECT_EQ(key, (std::vector<std::pair<std::int64_t, Level>>{{5 * ms, Level::high},
                                                              {9 * ms, Level::low}}));
  const auto gate = sink.edges_of(io::line::gate_UH);
  ASSERT_EQ(gate.size(), 2U);
  EXPECT_EQ(gate[1].at_ps, 11 * ms);
  EXPECT_EQ(sink.find("key on")->at_ps, 5 * ms);
}

TEST(Key, OffMeansTheControllerGetsNoTurnsAndNoEdges) {
  ScriptedController controller;
  controller.drive(6 * ms, io::line::gate_UH, Level::high);
  KeepingSink sink;
  run(hub_bench(), with_key(false, {action(5 * ms, ActionKind::brake, 1.0)}), controller, sink);
  EXPECT_TRUE(controller.powered.empty());
  EXPECT_TRUE(controller.delivered.empty());
  EXPECT_TRUE(sink.edges_of(io::line::gate_UH).empty());
}

TEST(Controller, ThatCrashesLetsGoAndTheRunGoesOn) {
  ScriptedController controller;
  controller.drive(6 * ms, io::line::gate_UH, Level::high);
  controller.at(
      7 * ms,
      [&](io::World&, io::Time) {
        controller.state = Health::crashed;
        controller.why = "unknown instruction at 0x1234";
      },
      true);
  KeepingSink sink;
  const RunOutcome outcome = run(hub_bench(), with_key(true), controller, sink);
  EXPECT_EQ(outcome.controller, Health::crashed);
  EXPECT_EQ(outcome.diagnosis, "unknown instruction at 0x1234");
  EXPECT_EQ(outcome.end_ps, 50 * ms);
  const KeptMark* mark = sink.find("controller crashed");
  ASSERT_NE(mark, nullptr);
  EXPECT_EQ(mark->kind, MarkKind::event);
  EXPECT_EQ(mark->at_ps, 7 * ms);
  EXPECT_EQ(mark->detail, "unknown instruction at 0x1234");
  expect_gates_off_after(sink, 7 * ms);
  EXPECT_NE(sink.find("all gates off"), nullptr);
}

TEST(Controller, ThatMakesNoProgressIsCalledHung) {
  ScriptedController controller;
  controller.drive(6 * ms, io::line::gate_UH, Level::high);
  for (int k = 0; k < 5000; ++k)
    controller.at(
        7 * ms, [](io::World&, io::Time) {}, true);
  KeepingSink sink;
  const RunOutcome outcome = run(hub_bench(), with_key(true), controller, sink);
  EXPECT_EQ(outcome.controller, Health::hung);
  EXPECT_EQ(outcome.end_ps, 50 * ms);
  ASSERT_NE(sink.find("controller hung"), nullptr);
  EXPECT_FALSE(sink.find("controller hung")->detail.empty());
  expect_gates_off_after(sink, 7 * ms);
}

// Six gates off and six on at one instant is what a bridge may do; it is not a hang.
TEST(Controller, ThatDrivesADozenEdgesAtOneInstantIsNotHung) {
  ScriptedController controller;
  for (const Level level : {Level::high, Level::low})
    for (std::uint16_t k = 0; k < io::gate_count; ++k)
      controller.drive(6 * ms, io::LineId{k}, level);
  KeepingSink sink;
  const RunOutcome outcome = run(hub_bench(), with_key(true), controller, sink);
  EXPECT_EQ(outcome.controller, Health::running);
  EXPECT_EQ(outcome.gate_edges, 12U);
}

TEST(Controller, ThatComesToItsEndIsToldApartFromACrash) {
  ScriptedController controller;
  controller.at(
      7 * ms, [&](io::World&, io::Time) { controller.state = Health::exited; }, true);
  KeepingSink sink;
  const RunOutcome outcome = run(hub_bench(), with_key(true), controller, sink);
  EXPECT_EQ(outcome.controller, Health::exited);
  EXPECT_NE(sink.find("controller exited"), nullptr);
  EXPECT_EQ(sink.find("controller crashed"), nullptr);
}

TEST(Controller, ThatStaysAliveLeavesNoSuchMark) {
  ScriptedController controller;
  KeepingSink sink;
  const RunOutcome outcome = run(hub_bench(), with_key(true), controller, sink);
  EXPECT_EQ(outcome.controller, Health::running);
  for (const KeptMark& mark : sink.marks) EXPECT_FALSE(mark.name.starts_with("controller"));
}

class Refusing final : public io::SimulatedController {
 public:
  void power(double volts, io::Time, io::World&) override {
    if (volts > 0.0) throw io::ConfigError("controller.firmware", "cannot be loaded");
  }
  io::Time run(io::Time horizon) noexcept override { return horizon; }
  void deliver(const io::Edge&) noexcept override {}
  Health health() const noexcept override { return Health::running; }
  std::string_view diagnosis() const noexcept override { return ""; }
};

TEST(Controller, ThatCannotBeSwitchedOnAtTheStartIsAConfigError) {
  Refusing controller;
  KeepingSink sink;
  EXPECT_THROW(run(hub_bench(), with_key(true), controller, sink), io::ConfigError);
}

TEST(Controller, ThatCannotBeSwitchedOnLaterHasCrashed) {
  Refusing controller;
  KeepingSink sink;
  const RunOutcome outcome =
      run(hub_bench(), with_key(false, {action(ms, ActionKind::key, 1.0)}), controller, sink);
  EXPECT_EQ(outcome.controller, Health::crashed);
  EXPECT_EQ(outcome.diagnosis, "cannot be loaded");
  EXPECT_EQ(outcome.end_ps, 50 * ms);
}

TEST(Gates, BothOnInOneLegIsToldOnceALeg) {
  ScriptedController controller;
  for (int k = 0; k < 3; ++k) {
    controller.drive((5 + k) * ms, io::line::gate_VH, Level::high);
    controller.drive((5 + k) * ms + us, io::line::gate_VL, Level::high);
    controller.drive((5 + k) * ms + 2 * us, io::line::gate_VH, Level::low);
    controller.drive((5 + k) * ms + 3 * us, io::line::gate_VL, Level::low);
  }
  KeepingSink sink;
  run(hub_bench(), with_key(true), controller, sink);
  int told = 0;
  for (const KeptMark& mark : sink.marks)
    if (mark.name == "shoot-through") {
      ++told;
      EXPECT_EQ(mark.at_ps, 5 * ms + us);
      EXPECT_EQ(mark.detail, "V");
    }
  EXPECT_EQ(told, 1);
}

// Active-low gate pins and a pull-up: released means off there, low means on.
TEST(Gates, FollowPolarityAndPull) {
  Bench bench = hub_bench();
  auto& gate = bench.harness.lines[io::index(io::line::gate_UH)];
  gate.active_high = false;
  gate.pull = Pull::up;
  ScriptedController controller;
  controller.drive(1 * ms, io::line::gate_UH, Level::low);
  controller.drive(2 * ms, io::line::gate_UH, Level::released);
  controller.drive(3 * ms, io::line::gate_UH, Level::low);
  controller.drive(4 * ms, io::line::gate_UH, Level::high);
  KeepingSink sink;
  run(bench, with_key(true), controller, sink);
  const auto edges = sink.edges_of(io::line::gate_UH);
  ASSERT_EQ(edges.size(), 4U);
  for (std::size_t k = 0; k < 4; ++k) {
    EXPECT_EQ(edges[k].at_ps, static_cast<std::int64_t>(k + 1) * ms);
    EXPECT_EQ(edges[k].level, k % 2 == 0 ? 1 : 0);
  }
}

TEST(InitialLines, SayWhatTheControllerWillRead) {
  Scenario scenario = with_key(true);
  ScriptedController controller;
  const auto high = initial_lines_high(hub_bench(), scenario, controller);
  const unsigned bits = high[0] | static_cast<unsigned>(high[1]) << 8;
  const auto reads = [bits](io::LineId line) { return (bits >> io::index(line) & 1U) != 0; };
  EXPECT_TRUE(reads(io::line::hall_U));   // high from -90 to 90 deg; the rotor stands at 0 deg
  EXPECT_FALSE(reads(io::line::hall_V));  // 30 to 210 deg
  EXPECT_FALSE(reads(io::line::hall_W));  // 150 to 330 deg
  EXPECT_TRUE(reads(io::line::key));
  EXPECT_FALSE(reads(io::line::gate_UH));
}

}  // namespace
}  // namespace stillrotor::test
