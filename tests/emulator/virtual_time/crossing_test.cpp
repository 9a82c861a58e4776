// When a comparison of voltages next changes: asked of the future, which stays as it was.
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <numbers>
#include <optional>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Time;

constexpr double omega = 10.0;  // rad/s, mechanical, kept by the inertia
constexpr io::Comparison u_above_v{{io::channel::phase_voltage_U}, {io::channel::phase_voltage_V}};

Bench coasting_bench() {
  Bench bench = mid_bench();
  bench.drive.shaft = {.inertia_kg_m2 = 1e6};
  bench.drive.phase_voltage = {.fitted = true, .ratio = 0.05};
  return bench;
}
Scenario coasting() {
  Scenario scenario;
  scenario.lasts_ps = 200 * ms;
  scenario.start.key = true;
  scenario.start.speed_rad_s = omega;
  return scenario;
}

// e_U = -A sin theta, e_V = -A sin(theta - 120 deg): equal, and both positive so that no diode
// conducts, at 330 deg; U lies above V before. theta = 4 pole pairs * 10 rad/s * t. Tolerance: the
// plant's angle after 144 ms; 1 ns is 2e-6 deg.
TEST(Crossing, OfTwoTerminalsOfACoastingMachineLiesWhereTheirEmfsAreEqual) {
  const double expected_s = 330.0 / 180.0 * std::numbers::pi / (4.0 * omega);
  ScriptedController controller;
  std::optional<Time> found, none;
  bool before = false, after = true;
  controller.at(120 * ms, [&](io::World& w, Time t) {
    none = w.crossing(u_above_v, true, t, Time(143 * ms));
    found = w.crossing(u_above_v, true, t, Time(160 * ms));
    if (!found) return;
    const auto u_is_above = [&](Time at) {
      return w.volts(io::channel::phase_voltage_U, at) > w.volts(io::channel::phase_voltage_V, at);
    };
    before = u_is_above(*found - Time(1000));
    after = u_is_above(*found + Time(1000));
  });
  KeepingSink sink;
  run(coasting_bench(), coasting(), controller, sink);
  EXPECT_FALSE(none.has_value());
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(static_cast<double>(found->count()) * 1e-12, expected_s, 1e-9);
  EXPECT_TRUE(before);
  EXPECT_FALSE(after);
}

TEST(Crossing, IsTheMomentOfTheQuestionWhereTheAnswerHasChangedAlready) {
  ScriptedController controller;
  std::optional<Time> found;
  controller.at(120 * ms, [&](io::World& w, Time t) {
    found = w.crossing(u_above_v, false, t, Time(160 * ms));
  });
  KeepingSink sink;
  run(coasting_bench(), coasting(), controller, sink);
  EXPECT_EQ(found, Time(120 * ms));
}

// The throttle runs from 0.85 V at 20 ms to 2.4 V at 70 ms: 1.5 V at 20 ms + 50 ms * 0.65 / 1.55.
// A channel that is not wired reads 0 V.
TEST(Crossing, SeesTheThrottleMoveAndNothingOnAnOpenPin) {
  Bench bench = coasting_bench();
  bench.controls.throttle_idle_V = 0.85;
  bench.harness.channels[io::index(io::channel::bus_voltage)] = false;
  ScriptedController controller;
  std::optional<Time> found, open;
  controller.at(25 * ms, [&](io::World& w, Time t) {
    found = w.crossing({{io::channel::throttle}, {std::nullopt, 1.5}}, false, t,
                       Time(t + Time(50 * ms)));
    open = w.crossing({{io::channel::bus_voltage}, {std::nullopt, 0.1}}, false, t, t);
  });
  KeepingSink sink;
  run(bench, drive_off(100 * ms, 2.4), controller, sink);
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(static_cast<double>(found->count()), 20e9 + 50e9 * 0.65 / 1.55, 2.0);
  EXPECT_FALSE(open.has_value());
}

// A still machine with its switches off: terminal and star point are equal but for rounding.
TEST(Crossing, OfEqualVoltagesIsNoneWithinTheHysteresis) {
  Bench bench = coasting_bench();
  bench.harness.channels[io::index(io::channel::star_point)] = true;
  Scenario still = coasting();
  still.start.speed_rad_s = 0.0;
  ScriptedController controller;
  bool asked = false;
  std::optional<Time> as_true, as_false, beyond;
  controller.at(50 * ms, [&](io::World& w, Time t) {
    io::Comparison star{{io::channel::star_point}, {io::channel::phase_voltage_U}, 1e-3};
    as_true = w.crossing(star, true, t, Time(60 * ms));
    as_false = w.crossing(star, false, t, Time(60 * ms));
    beyond = w.crossing({{std::nullopt, 0.6e-3}, {std::nullopt, 0.0}, 1e-3}, false, t, t);
    asked = true;
  });
  KeepingSink sink;
  run(bench, still, controller, sink);
  EXPECT_TRUE(asked);
  EXPECT_FALSE(as_true.has_value());
  EXPECT_FALSE(as_false.has_value());
  EXPECT_EQ(beyond, Time(50 * ms));
}

// Ten electrical turns a second: asked on from where the last answer ended, in pieces or at once.
TEST(Crossing, IsTheSameWhetherAskedInPiecesOrAtOnce) {
  ScriptedController controller;
  std::vector<Time> at_once, in_pieces;
  const auto ask = [](io::World& w, Time from, Time to, Time piece) {
    std::vector<Time> found;
    bool above = true;
    for (Time known = from; known < to;) {
      const Time end = std::min(to, known + piece);
      const auto at = w.crossing(u_above_v, above, known, end);
      if (at) {
        above = !above;
        found.push_back(*at);
      }
      known = at.value_or(end);
    }
    return found;
  };
  controller.at(120 * ms, [&](io::World& w, Time t) {
    at_once = ask(w, t, Time(600 * ms), Time(second));
    in_pieces = ask(w, t, Time(600 * ms), Time(50 * us));
  });
  KeepingSink sink;
  Scenario longer = coasting();
  longer.lasts_ps = 700 * ms;
  run(coasting_bench(), longer, controller, sink);
  ASSERT_GE(at_once.size(), 6U);
  ASSERT_EQ(at_once.size(), in_pieces.size());
  // Another cut of the plant's steps: rounding of its angle.
  for (std::size_t k = 0; k < at_once.size(); ++k)
    EXPECT_NEAR(static_cast<double>((at_once[k] - in_pieces[k]).count()), 0.0, 100.0) << k;
}

TEST(Crossing, LeavesNoTraceInTheRun) {
  const auto frames = [](bool asks) {
    Bench bench = coasting_bench();
    bench.drive.shaft.inertia_kg_m2 = 5e-3;
    ScriptedController controller;
    for (int k = 1; k < 50; ++k)
      controller.at(k * ms, [k, asks](io::World& w, Time t) {
        w.drive({t, k % 2 != 0 ? io::line::gate_UH : io::line::gate_VL,
                 k / 2 % 2 != 0 ? io::Level::high : io::Level::low});
        if (asks) w.crossing(u_above_v, k % 3 == 0, t, t + Time(700 * us));
      });
    KeepingSink sink;
    run(bench, coasting(), controller, sink);
    return sink.frames;
  };
  const auto asked = frames(true), silent = frames(false);
  ASSERT_EQ(asked.size(), silent.size());
  for (std::size_t k = 0; k < asked.size(); ++k)
    ASSERT_EQ(std::memcmp(&asked[k].value, &silent[k].value, sizeof asked[k].value), 0)
        << "frame " << k;
}

}  // namespace
}  // namespace stillrotor::test
