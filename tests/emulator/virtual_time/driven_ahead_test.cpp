// Gates that a controller hands over ahead of time, and edges that it hears later: the run is the
// one in which it hands over each by itself, or hears each at once.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <span>
#include <string_view>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Edge;
using io::Level;

/// Another controller and what it hands over; one edge at a time, or as many as the world takes.
/// at_once: it hears every edge as it comes.
class Watched final : public io::SimulatedController, public io::World {
 public:
  Watched(const Bench& bench, bool one_by_one, bool at_once = false)
      : inner_(io::make_controller(bench.controller)), one_by_one_(one_by_one), at_once_(at_once) {}

  void power(double volts, io::Time t, io::World& world) override {
    world_ = &world;
    inner_->power(volts, t, *this);
  }
  io::Time run(io::Time horizon) noexcept override { return inner_->run(horizon); }
  void deliver(const Edge& edge) noexcept override { inner_->deliver(edge); }
  io::Health health() const noexcept override { return inner_->health(); }
  std::string_view diagnosis() const noexcept override { return inner_->diagnosis(); }

  std::uint32_t hears_later() const noexcept override {
    return at_once_ ? 0 : inner_->hears_later();
  }

  std::size_t edges = 0, calls = 0;  // of drive_ahead()
  std::size_t heard_later = 0;
  std::size_t passed = 0, driven = 0;  // of pass() and drive()

 private:
  void drive(const Edge& edge) noexcept override {
    ++driven;
    world_->drive(edge);
  }
  bool pass(const Edge& edge) noexcept override {
    const bool taken = !one_by_one_ && world_->pass(edge);
    passed += taken ? 1 : 0;
    return taken;
  }
  std::size_t drive_ahead(std::span<const Edge> ahead) noexcept override {
    const std::size_t taken = world_->drive_ahead(one_by_one_ ? ahead.first(1) : ahead);
    ++calls;
    edges += taken;
    return taken;
  }
  std::span<const Edge> heard(io::Time t) noexcept override {
    if (at_once_) return {};
    const std::span<const Edge> edges_before = world_->heard(t);
    heard_later += edges_before.size();
    return edges_before;
  }
  double volts(io::ChannelId channel, io::Time t) noexcept override {
    return world_->volts(channel, t);
  }
  Level level(io::LineId line, io::Time t) noexcept override { return world_->level(line, t); }
  void text(io::Time t, std::string_view said) noexcept override { world_->text(t, said); }

  std::unique_ptr<io::SimulatedController> inner_;
  io::World* world_ = nullptr;
  bool one_by_one_, at_once_;
};

/// A drive off with what reaches in between gates: a wire that opens, a bridge's short, the brake,
/// the key.
Scenario eventful() {
  Scenario scenario = drive_off(600 * ms, 3.5);
  for (const Action& more :
       {fault(200 * ms + 1234, gate_line_open, 0), fault(203 * ms, gate_line_open, 0, true),
        fault(300 * ms, hall_line_stuck, 0), fault(301 * ms + 7, hall_line_stuck, 0, true),
        action(400 * ms + 99, ActionKind::brake, 1.0), action(430 * ms, ActionKind::brake, 0.0),
        action(500 * ms + 1, ActionKind::key, 0.0), action(550 * ms, ActionKind::key, 1.0)})
    scenario.timeline.push_back(more);
  return scenario;
}

void expect_the_same(const KeepingSink& a, const KeepingSink& b) {
  ASSERT_EQ(a.frames.size(), b.frames.size());
  for (std::size_t k = 0; k < a.frames.size(); ++k) {
    ASSERT_EQ(a.frames[k].at_ps, b.frames[k].at_ps);
    ASSERT_EQ(a.frames[k].value, b.frames[k].value) << k;
    ASSERT_EQ(a.frames[k].least, b.frames[k].least) << k;
    ASSERT_EQ(a.frames[k].greatest, b.frames[k].greatest) << k;
  }
  ASSERT_EQ(a.edges.size(), b.edges.size());
  for (std::size_t k = 0; k < a.edges.size(); ++k) {
    ASSERT_EQ(a.edges[k].at_ps, b.edges[k].at_ps) << k;
    ASSERT_EQ(a.edges[k].line, b.edges[k].line) << k;
    ASSERT_EQ(a.edges[k].level, b.edges[k].level) << k;
  }
  ASSERT_EQ(a.marks.size(), b.marks.size());
  for (std::size_t k = 0; k < a.marks.size(); ++k) {
    EXPECT_EQ(a.marks[k].at_ps, b.marks[k].at_ps) << a.marks[k].name;
    EXPECT_EQ(a.marks[k].name, b.marks[k].name);
    EXPECT_EQ(a.marks[k].detail, b.marks[k].detail);
  }
}

/// Edges that the world took a call, ahead of time.
double compared(const Bench& bench, std::string_view expected_event = {}) {
  KeepingSink at_once, one_by_one;
  Watched ahead(bench, false), slow(bench, true);
  const RunOutcome outcome = run(bench, eventful(), ahead, at_once);
  run(bench, eventful(), slow, one_by_one);
  EXPECT_EQ(outcome.controller, io::Health::running);
  EXPECT_GT(outcome.gate_edges, 5000U);
  EXPECT_EQ(slow.edges, slow.calls);
  EXPECT_TRUE(expected_event.empty() ||
              std::any_of(at_once.marks.begin(), at_once.marks.end(),
                          [&](const auto& mark) { return mark.name == expected_event; }));
  expect_the_same(at_once, one_by_one);
  return static_cast<double>(ahead.edges) / static_cast<double>(ahead.calls);
}

// Not a promise, but nothing would be tested if the world took one at a time: a period of 62.5 us
// has 12 edges and, at full speed, an encoder's edge now and then.
TEST(DrivenAhead, GivesTheSameRunAsDrivenOneByOne) { EXPECT_GT(compared(mid_bench()), 3.0); }

TEST(DrivenAhead, GivesTheSameRunWithAFloatingLeg) { EXPECT_GT(compared(hub_bench()), 1.2); }

// The plant then takes no steps that end a look ahead. Where in a step a diode's current has ended
// is found to 1e-9 A, from where that step would end, so the runs agree to some 1e-9 of their
// currents, gates to their rounding. Tolerances: far beyond that, far below what a lost edge does.
TEST(HeardLater, GivesTheRunInWhichEachEdgeIsHeardAtOnce) {
  const Bench bench = mid_bench();
  KeepingSink a, b;
  Watched later(bench, false), at_once(bench, false, true);
  run(bench, eventful(), later, a);
  run(bench, eventful(), at_once, b);
  EXPECT_GT(later.heard_later, 1000U);
  EXPECT_EQ(at_once.heard_later, 0U);
  ASSERT_EQ(a.edges.size(), b.edges.size());
  for (std::size_t k = 0; k < a.edges.size(); ++k) {
    ASSERT_EQ(a.edges[k].line, b.edges[k].line) << k;
    ASSERT_EQ(a.edges[k].level, b.edges[k].level) << k;
    ASSERT_LE(std::abs(a.edges[k].at_ps - b.edges[k].at_ps), 1000) << k;
  }
  ASSERT_EQ(a.frames.size(), b.frames.size());
  for (std::size_t k = 0; k < a.frames.size(); ++k)
    for (std::size_t s = 0; s < signal_count; ++s) {
      const double x{a.frames[k].value[s]}, y{b.frames[k].value[s]};
      ASSERT_NEAR(x, y, 1e-4 * (1.0 + std::abs(y))) << k << " " << signal_table[s].name;
    }
  EXPECT_EQ(a.marks.size(), b.marks.size());
}

// A chip's count of an encoder's edges moves when the firmware looks at it. The plant's steps then
// end elsewhere, as above; a single count that were missed would turn currents by tenths of an
// ampere.
TEST(HeardLater, ByAChipsCountGivesTheSameRun) {
  const std::string firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf";
  if (!std::filesystem::exists(firmware)) GTEST_SKIP() << firmware << " is not built";
  const Bench bench = load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid-m4.yaml",
                                 {"load.cart_mass=15 kg"}, STILLROTOR_BUILD_DIR);
  KeepingSink a, b;
  Watched later(bench, false), at_once(bench, false, true);
  const RunOutcome outcome = run(bench, eventful(), later, a);
  run(bench, eventful(), at_once, b);
  EXPECT_EQ(outcome.controller, io::Health::running);
  EXPECT_GT(later.heard_later, 1000U);
  EXPECT_EQ(at_once.heard_later, 0U);
  ASSERT_EQ(a.frames.size(), b.frames.size());
  double far_A = 0.0, far_rad_s = 0.0, fastest_rad_s = 0.0;
  const auto apart = [&](std::size_t frame, Signal signal) {
    const auto s = static_cast<std::size_t>(signal);
    return std::abs(double{a.frames[frame].value[s]} - double{b.frames[frame].value[s]});
  };
  for (std::size_t k = 0; k < a.frames.size(); ++k) {
    far_A = std::max(far_A, apart(k, Signal::current_U));
    far_rad_s = std::max(far_rad_s, apart(k, Signal::speed));
    fastest_rad_s =
        std::max(fastest_rad_s, double{a.frames[k].value[static_cast<std::size_t>(Signal::speed)]});
  }
  EXPECT_GT(fastest_rad_s, 20.0);
  EXPECT_LT(far_A, 1e-4);
  EXPECT_LT(far_rad_s, 1e-6 * fastest_rad_s);
}

// A supply that reaches its limit, takes no current back and in the end latches off.
TEST(DrivenAhead, GivesTheSameRunOnAWeakBenchSupply) {
  Bench bench = mid_bench();
  bench.drive.supply.kind = plant::SupplyKind::bench_supply;
  bench.drive.supply.current_limit_A = 50.0;
  bench.drive.supply.latch_above_V = 1.01 * bench.drive.supply.voltage_V;
  EXPECT_GT(compared(bench, "supply latched off"), 3.0);
}

// A driver that trips has news of its own for any edge.
TEST(DrivenAhead, IsDrivenOneByOneWhereTheDriverMayTrip) {
  Bench bench = mid_bench();
  bench.drive.gate_driver.trip_A = 500.0;
  EXPECT_EQ(compared(bench), 1.0);
}

// A chip runs on past its gates' edges. Not a promise either: of a period of 50 us with 12 edges,
// those behind each sampled voltage and each encoder's edge end a run.
TEST(Passed, GivesTheSameRunOfAChipAsEdgeByEdge) {
  const std::string firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf";
  if (!std::filesystem::exists(firmware)) GTEST_SKIP() << firmware << " is not built";
  const Bench bench = load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid-m4.yaml",
                                 {"load.cart_mass=15 kg"}, STILLROTOR_BUILD_DIR);
  KeepingSink on, back;
  Watched going_on(bench, false), coming_back(bench, true);
  const RunOutcome outcome = run(bench, eventful(), going_on, on);
  run(bench, eventful(), coming_back, back);
  EXPECT_EQ(outcome.controller, io::Health::running);
  EXPECT_GT(outcome.gate_edges, 5000U);
  EXPECT_EQ(coming_back.passed, 0U);
  EXPECT_GT(going_on.passed, 2 * going_on.driven);
  expect_the_same(on, back);
}

/// How many of three edges, well within a turn of the controller, a world takes that a scenario
/// moves.
std::size_t taken_of_three(const Scenario& scenario, const std::array<Edge, 3>& edges) {
  Bench bench = hub_bench();
  bench.drive.hall.fitted = false;
  ScriptedController controller;
  // A low switch that stays on: gates that are all off, or come on after that, tell something.
  controller.drive(ms, io::line::gate_WL, Level::high);
  std::size_t taken = 0;
  controller.at(
      edges[0].at.count(), [&](io::World& w, io::Time) { taken = w.drive_ahead(edges); }, true);
  KeepingSink sink;
  run(bench, scenario, controller, sink);
  return taken;
}

std::array<Edge, 3> three_edges(io::LineId last) {
  constexpr std::int64_t from = 5 * ms + 30 * us, apart = 10 * us;
  return {Edge{io::Time(from), io::line::gate_UH, Level::high},
          Edge{io::Time(from + apart), io::line::gate_UH, Level::low},
          Edge{io::Time(from + 2 * apart), last, Level::high}};
}

Scenario still(std::int64_t brake_ps) {
  Scenario scenario;
  scenario.lasts_ps = 10 * ms;
  scenario.start.key = true;
  scenario.timeline = {action(brake_ps, ActionKind::brake, 1.0)};
  return scenario;
}

TEST(DrivenAhead, EndsWhereTheScenarioHasSomethingToTell) {
  const auto edges = three_edges(io::line::gate_VH);
  EXPECT_EQ(taken_of_three(still(8 * ms), edges), 3U);
  EXPECT_EQ(taken_of_three(still(edges[2].at.count()), edges), 2U);
  EXPECT_EQ(taken_of_three(still(edges[1].at.count() - 1), edges), 1U);
}

TEST(DrivenAhead, EndsBeforeALegThatShortsTheBus) {
  EXPECT_EQ(taken_of_three(still(8 * ms), three_edges(io::line::gate_WH)), 2U);
}

}  // namespace
}  // namespace stillrotor::test
