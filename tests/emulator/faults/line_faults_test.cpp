// Faults of logic wires and of what drives them, at the controller's connector.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include "tests/emulator/faults/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;
using Code = std::array<bool, 3>;

constexpr double turn = 360.0;                    // electrical degrees
constexpr double speed_rad_s = 10.0;              // kept by the inertia: 15 * 10 rad/s electrical
constexpr std::int64_t turn_ps = 41'887'902'048;  // 2 pi / 150 rad/s

Scenario turning(std::vector<Action> timeline, std::int64_t lasts_ps) {
  return test::turning(speed_rad_s, lasts_ps, std::move(timeline));
}

std::int64_t time_of(double degrees) {
  return static_cast<std::int64_t>(degrees / turn * static_cast<double>(turn_ps));
}

/// UVW of Halls 120 deg apart, as docs/notation.md has them, each so much out of its place.
Code halls_at(double degrees, const std::array<double, 3>& late = {}) {
  Code code{};
  for (std::size_t k = 0; k < 3; ++k) {
    const double from_centre =
        std::remainder(degrees - 120.0 * static_cast<double>(k) - late[k], turn);
    code[k] = from_centre >= -90.0 && from_centre < 90.0;
  }
  return code;
}

/// What is read in the middle of each half sector of the second turn, and what the delivered edges
/// have left behind by then.
struct SeenHalls {
  std::vector<Code> read, delivered;
};
SeenHalls seen(std::vector<Action> timeline) {
  SeenHalls found;
  ScriptedController controller;
  Code now = halls_at(0.0);
  controller.on_edge = [&](const io::Edge& edge, ScriptedController&) {
    const auto k = io::index(edge.line) - io::index(io::line::hall_U);
    if (k < 3) now[k] = edge.level == Level::high;
  };
  for (int half = 0; half < 12; ++half)
    controller.at(time_of(turn + 15.0 + 30.0 * half), [&](io::World& w, io::Time t) {
      Code code;
      for (std::uint16_t k = 0; k < 3; ++k)
        code[k] = w.level(io::LineId{static_cast<std::uint16_t>(6 + k)}, t) == Level::high;
      found.read.push_back(code);
      found.delivered.push_back(now);
    });
  KeepingSink sink;
  run(turning_bench(), turning(std::move(timeline), 2 * turn_ps), controller, sink);
  return found;
}

// By hand from the table of docs/notation.md. The pull is up.
TEST(HallFaults, ShowAtThePinsAndInTheEdges) {
  using Law = std::function<Code(double)>;
  struct Case {
    const char* name;
    Action fault;
    Law expected;
  };
  const std::int64_t begin = time_of(200.0);
  const auto of = [](double degrees) { return halls_at(degrees); };
  const std::vector<Case> cases = {
      {"open", broken(begin, hall_line_open, {{1}}),
       [&](double d) {
         return Code{of(d)[0], true, of(d)[2]};
       }},
      {"stuck", broken(begin, hall_line_stuck, {{0, 0}}),
       [&](double d) {
         return Code{false, of(d)[1], of(d)[2]};
       }},
      {"inverted", broken(begin, hall_line_inverted, {{2}}),
       [&](double d) {
         return Code{of(d)[0], of(d)[1], !of(d)[2]};
       }},
      {"U and V", broken(begin, hall_lines_swapped, {{0}}),
       [&](double d) {
         return Code{of(d)[1], of(d)[0], of(d)[2]};
       }},
      {"W and U", broken(begin, hall_lines_swapped, {{2}}),
       [&](double d) {
         return Code{of(d)[2], of(d)[1], of(d)[0]};
       }},
      {"supply", broken(begin, hall_supply_lost),
       [](double) {
         return Code{true, true, true};
       }},
      {"displaced", broken(begin, hall_displaced, {{0, 40.0 * std::numbers::pi / 180.0}}),
       [](double d) {
         return halls_at(d, {40.0, 0.0, 0.0});
       }},
      {"carrier", broken(begin, hall_displaced, {{3, -80.0 * std::numbers::pi / 180.0}}),
       [](double d) {
         return halls_at(d, {-80.0, -80.0, -80.0});
       }},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(c.name);
    std::vector<Code> expected, sound;
    for (int half = 0; half < 12; ++half) {
      expected.push_back(c.expected(15.0 + 30.0 * half));
      sound.push_back(halls_at(15.0 + 30.0 * half));
    }
    const SeenHalls faulty = seen({c.fault});
    EXPECT_EQ(faulty.read, expected);
    EXPECT_EQ(faulty.delivered, expected);
    EXPECT_NE(faulty.read, sound);
    const SeenHalls mended =
        seen({c.fault, broken(time_of(300.0), *c.fault.fault, c.fault.settings, true)});
    EXPECT_EQ(mended.read, sound);
    EXPECT_EQ(mended.delivered, sound);
  }
}

// A random moment every millisecond on average, each pulse exactly as long as asked for: within a
// second 1000 +- 32 of them (Poisson); tolerance five of these deviations. Seen on a standing
// rotor, so every edge is one of theirs.
TEST(HallGlitches, ComeAtRandomWithTheirWidthAndAreTheSameForASeed) {
  const auto edges = [](std::uint64_t seed) {
    Scenario scenario = turning({broken(ms, hall_line_glitching, {{1, 1e3, 2e-6}}),
                                 broken(1001 * ms, hall_line_glitching, {{1}}, true)},
                                1100 * ms);
    scenario.start.speed_rad_s = 0.0;
    scenario.seed = seed;
    ScriptedController idle(62'500);
    KeepingSink sink;
    run(hub_bench(), scenario, idle, sink);
    return sink.edges_of(io::line::hall_V);
  };
  const std::vector<LineEdge> first = edges(1), again = edges(1), other = edges(2);
  ASSERT_EQ(first.size() % 2, 0U);
  EXPECT_NEAR(static_cast<double>(first.size()) / 2.0, 1000.0, 5.0 * 32.0);
  int wrong_width = 0;
  for (std::size_t k = 0; k + 1 < first.size(); k += 2)
    wrong_width += first[k + 1].at_ps - first[k].at_ps != 2 * us;
  EXPECT_LE(wrong_width, 1);  // the one that the end of the fault cuts short
  EXPECT_LE(first.back().at_ps, 1001 * ms);
  const auto same = [](const LineEdge& a, const LineEdge& b) { return a.at_ps == b.at_ps; };
  EXPECT_TRUE(std::equal(first.begin(), first.end(), again.begin(), again.end(), same));
  EXPECT_FALSE(std::equal(first.begin(), first.end(), other.begin(), other.end(), same));
}

// ---- gates

/// U to V through a standing machine: UH and VL on at the pins from 1 ms on.
struct Gated {
  std::vector<float> current_A;  // of U, at 19 ms and at 39 ms
  KeepingSink sink;
};
Gated gated(std::vector<Action> timeline) {
  Bench bench = hub_bench();
  bench.drive.shaft.hold = plant::Hold::start_speed;
  ScriptedController controller(62'500);
  controller.drive(ms, io::line::gate_UH, Level::high);
  controller.drive(ms, io::line::gate_VL, Level::high);
  Scenario scenario = turning(std::move(timeline), 40 * ms);
  scenario.start.speed_rad_s = 0.0;
  Gated out;
  run(bench, scenario, controller, out.sink);
  for (const std::int64_t moment : {19 * ms, 39 * ms})
    out.current_A.push_back(at(out.sink, moment, Signal::current_U));
  return out;
}

// By hand: 48 V over two windings (80 mohm each), two switches and the supply; all time constants
// (220 uH / 80 mohm = 2.75 ms) are long over. With its gate off, U has no way to the bus and
// its current dies out over VL and the low diode of U. The record keeps what the controller does.
TEST(GateFaults, TakeTheirSwitchAlone) {
  const Bench bench = hub_bench();
  const double full_A = 48.0 / (2.0 * (0.08 + bench.drive.bridge.switch_on_resistance_ohm) +
                                bench.drive.supply.resistance_ohm);
  struct Case {
    const char* name;
    Action fault;
    double faulty_A;
    bool shorts;
  };
  const std::vector<Case> cases = {
      {"UH open", broken(10 * ms, gate_line_open, {{0}}), 0.0, false},
      {"UH stuck low", broken(10 * ms, gate_line_stuck, {{0, 0}}), 0.0, false},
      {"UH stuck high", broken(10 * ms, gate_line_stuck, {{0, 1}}), full_A, false},
      {"VL open", broken(10 * ms, gate_line_open, {{3}}), 0.0, false},
      {"WH stuck low", broken(10 * ms, gate_line_stuck, {{4, 0}}), full_A, false},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(c.name);
    const Gated seen = gated({c.fault, broken(20 * ms, *c.fault.fault, c.fault.settings, true)});
    ASSERT_EQ(seen.current_A.size(), 2U);
    EXPECT_NEAR(seen.current_A[0], c.faulty_A, 0.02 * full_A);
    EXPECT_NEAR(seen.current_A[1], full_A, 0.02 * full_A);
    EXPECT_EQ(seen.sink.find("shoot-through"), nullptr);
    const auto gate_edges =
        std::count_if(seen.sink.edges.begin(), seen.sink.edges.end(),
                      [](const LineEdge& e) { return e.line < io::gate_count; });
    EXPECT_EQ(gate_edges, 2);
  }
}

TEST(GateFaults, StuckLowSwitchShortsTheLegOfTheOtherOne) {
  const Gated seen = gated({broken(10 * ms, gate_line_stuck, {{1, 1}}),
                            broken(10 * ms + us, gate_line_stuck, {{1, 1}}, true)});
  const KeptMark* told = seen.sink.find("shoot-through");
  ASSERT_NE(told, nullptr);
  EXPECT_EQ(told->at_ps, 10 * ms);
  EXPECT_EQ(told->detail, "U");
}

// ---- what exchanged Halls do to a six-step drive

/// Torque of the step that an ideal six-step table takes for the code at the pins, the rotor
/// locked in the middle of a sector.
double torque_Nm(double degrees, bool swapped) {
  // Which high and which low switch turn forward, by the code of docs/notation.md, from 0 deg on.
  constexpr io::LineId steps[6][2] = {
      {io::line::gate_VH, io::line::gate_WL}, {io::line::gate_VH, io::line::gate_UL},
      {io::line::gate_WH, io::line::gate_UL}, {io::line::gate_WH, io::line::gate_VL},
      {io::line::gate_UH, io::line::gate_VL}, {io::line::gate_UH, io::line::gate_WL}};
  Bench bench = hub_bench();
  bench.drive.machine.back_emf = {{1, 1.0}};
  bench.drive.shaft.hold = plant::Hold::start_speed;
  Scenario scenario = turning({}, 40 * ms);
  if (swapped) scenario.timeline = {broken(ms, hall_lines_swapped, {{0}})};
  scenario.start.speed_rad_s = 0.0;
  scenario.start.angle_rad = degrees / turn * 2.0 * std::numbers::pi / 15.0;
  ScriptedController controller(62'500);
  controller.at(
      2 * ms,
      [&](io::World& w, io::Time t) {
        Code code;
        for (std::uint16_t k = 0; k < 3; ++k)
          code[k] = w.level(io::LineId{static_cast<std::uint16_t>(6 + k)}, t) == Level::high;
        for (int sector = 0; sector < 6; ++sector)
          if (code == halls_at(60.0 * sector))
            for (const io::LineId gate : steps[sector]) w.drive({t, gate, Level::high});
      },
      true);
  KeepingSink sink;
  run(bench, scenario, controller, sink);
  return static_cast<double>(sink.frames.back().value[static_cast<std::size_t>(Signal::torque)]);
}

// By hand: with U and V exchanged 100 reads 010 and 011 reads 101, so the current stands 120 deg
// wrong, cos 120 deg = -1/2; 110 and 001 look the same in both. Over a turn: nothing.
TEST(HallLinesSwapped, GivesFullTorqueInTwoSectorsAndHalfOfItBackwardsInFour) {
  const double right = torque_Nm(0.0, false);
  ASSERT_GT(right, 1.0);
  std::vector<double> shares;
  for (int sector = 0; sector < 6; ++sector) {
    EXPECT_NEAR(torque_Nm(60.0 * sector, false), right, 1e-3 * right);
    shares.push_back(torque_Nm(60.0 * sector, true) / right);
  }
  const std::vector<double> expected = {-0.5, 1.0, -0.5, -0.5, 1.0, -0.5};
  for (std::size_t k = 0; k < 6; ++k) EXPECT_NEAR(shares[k], expected[k], 1e-3) << k;
  EXPECT_NEAR(std::accumulate(shares.begin(), shares.end(), 0.0), 0.0, 3e-3);
}

}  // namespace
}  // namespace stillrotor::test
