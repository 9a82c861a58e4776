// What the scenario does to driver's controls, road, supply and wires, at its own picosecond.
#include <gtest/gtest.h>

#include <tuple>

#include "emulator/virtual_time/world.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;

Scenario standing(std::vector<Action> timeline, std::int64_t lasts_ps = 20 * ms) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = std::move(timeline);
  return scenario;
}

std::vector<double> throttle_readings(const std::vector<std::int64_t>& moments,
                                      const std::vector<Action>& timeline) {
  ScriptedController controller(62'500);
  std::vector<double> volts;
  for (const std::int64_t t : moments)
    controller.at(
        t, [&](io::World& w, io::Time at) { volts.push_back(w.volts(io::channel::throttle, at)); });
  KeepingSink sink;
  run(hub_bench(), standing(timeline), controller, sink);
  return volts;
}

// By hand: from 0.85 V (at rest) at 2 ms to 2.85 V within 4 ms: 0.5 V/ms.
TEST(Throttle, RampIsExactAtTheMomentOfEachRead) {
  const auto volts = throttle_readings(
      {2 * ms - 1, 2 * ms, 3 * ms, 3 * ms + 7'000'001, 6 * ms - 1, 6 * ms, 15 * ms},
      {action(2 * ms, ActionKind::throttle, 2.85, 4 * ms)});
  const std::vector<double> expected = {0.85, 0.85, 1.35, 1.3535000005, 2.8499999995, 2.85, 2.85};
  ASSERT_EQ(volts.size(), expected.size());
  for (std::size_t k = 0; k < volts.size(); ++k) EXPECT_NEAR(volts[k], expected[k], 1e-12) << k;
}

// Let go half way: the second ramp starts from where the first has come to, 1.85 V.
TEST(Throttle, NewRampStartsWhereTheOldOneStands) {
  const auto volts = throttle_readings({4 * ms, 5 * ms, 6 * ms, 10 * ms},
                                       {action(2 * ms, ActionKind::throttle, 2.85, 4 * ms),
                                        action(4 * ms, ActionKind::throttle, 0.85, 2 * ms)});
  const std::vector<double> expected = {1.85, 1.35, 0.85, 0.85};
  ASSERT_EQ(volts.size(), expected.size());
  for (std::size_t k = 0; k < volts.size(); ++k) EXPECT_NEAR(volts[k], expected[k], 1e-12) << k;
}

TEST(Throttle, StepIsThereAtOnce) {
  const auto volts =
      throttle_readings({2 * ms - 1, 2 * ms}, {action(2 * ms, ActionKind::throttle, 3.0)});
  EXPECT_EQ(volts, (std::vector<double>{0.85, 3.0}));
}

float at(const KeepingSink& sink, std::int64_t t_ps, Signal signal) {
  for (const Frame& frame : sink.frames)
    if (frame.at_ps == t_ps) return frame.value[static_cast<std::size_t>(signal)];
  return -1e9F;
}

// Bus unloaded, so it is the supply's voltage: 48 V, from 5 ms on down to 40 V within 10 ms.
// Tolerance: the link (1 mF behind 45 mohm in all) lags by tau * slope = 45 us * 0.8 V/ms = 36 mV
// while the ramp runs, and has settled 1 ms after it.
TEST(SupplyVoltage, RampStopsExactlyAtItsEnd) {
  ScriptedController idle;
  KeepingSink sink;
  run(hub_bench(), standing({action(5 * ms, ActionKind::supply_voltage, 40.0, 10 * ms)}), idle,
      sink);
  EXPECT_NEAR(at(sink, 5 * ms, Signal::bus_voltage), 48.0F, 1e-4);
  EXPECT_NEAR(at(sink, 10 * ms, Signal::bus_voltage), 44.0F, 0.04);
  EXPECT_NEAR(at(sink, 17 * ms, Signal::bus_voltage), 40.0F, 1e-4);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::bus_voltage), 40.0F, 1e-4);
}

// Without friction the shaft does what J domega/dt = -T says: 1 Nm reached within 10 ms, held for
// 10 ms, on 0.02 kg m^2: -(0.5 * 10 ms + 10 ms) * 1 Nm / 0.02 kg m^2 = -0.75 rad/s.
TEST(LoadTorque, RampIsFeltAtTheShaft) {
  Bench bench = hub_bench();
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  ScriptedController idle;
  KeepingSink sink;
  run(bench, standing({action(0, ActionKind::load_torque, 1.0, 10 * ms)}), idle, sink);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::speed), -0.75F, 1e-5);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::load_torque), 1.0F, 1e-6);
}

// A dynamometer keeps the speed of the start, then runs straight to the new one: from 10 rad/s at 5
// ms to 30 rad/s within 10 ms.
TEST(HeldSpeed, FollowsItsRamp) {
  ScriptedController controller(62'500);
  KeepingSink sink;
  Bench bench = hub_bench();
  bench.drive.shaft.hold = plant::Hold::start_speed;
  Scenario scenario = standing({action(5 * ms, ActionKind::held_speed, 30.0, 10 * ms)});
  scenario.start.speed_rad_s = 10.0;
  run(bench, scenario, controller, sink);
  EXPECT_NEAR(at(sink, 4 * ms, Signal::speed), 10.0F, 1e-5F);
  EXPECT_NEAR(at(sink, 10 * ms, Signal::speed), 20.0F, 1e-5F);
  EXPECT_NEAR(at(sink, 19 * ms, Signal::speed), 30.0F, 1e-5F);
}

// By hand: 1.225/2 kg/m^3 * 2 m^2 * (8 m/s)^2 * 0.25 m = 19.6 N m against a standing cart, less 40
// N m of the pedals.
TEST(WindAndPedals, AreFeltAtTheShaft) {
  ScriptedController controller(62'500);
  KeepingSink sink;
  Bench bench = hub_bench();
  bench.drive.shaft.cart_mass_kg = 1e9;
  bench.drive.shaft.wheel_radius_m = 0.25;
  bench.drive.shaft.drag_area_m2 = 2.0;
  run(bench,
      standing(
          {action(5 * ms, ActionKind::wind, 8.0), action(10 * ms, ActionKind::pedal_torque, 40.0)}),
      controller, sink);
  EXPECT_EQ(at(sink, 4 * ms, Signal::load_torque), 0.0F);
  EXPECT_NEAR(at(sink, 8 * ms, Signal::load_torque), 19.6F, 1e-4F);
  EXPECT_NEAR(at(sink, 15 * ms, Signal::load_torque), -20.4F, 1e-4F);
}

TEST(Actions, LeaveAMarkWithTheirLabel) {
  ScriptedController idle;
  KeepingSink sink;
  run(hub_bench(),
      standing({action(ms, ActionKind::throttle, 2.0), action(2 * ms, ActionKind::brake, 1.0),
                action(3 * ms, ActionKind::reverse, 1.0), action(4 * ms, ActionKind::key, 0.0),
                fault(5 * ms, phase_open, 2), fault(6 * ms, phase_open, 2, true)}),
      idle, sink);
  const std::vector<std::pair<std::string, std::int64_t>> expected = {
      {"key on", 0},
      {"throttle", ms},
      {"brake on", 2 * ms},
      {"reverse on", 3 * ms},
      {"key off", 4 * ms},
      {"phase_open", 5 * ms},
      {"phase_open cleared", 6 * ms}};
  ASSERT_EQ(sink.marks.size(), expected.size());
  for (std::size_t k = 0; k < expected.size(); ++k) {
    EXPECT_EQ(sink.marks[k].name, expected[k].first);
    EXPECT_EQ(sink.marks[k].at_ps, expected[k].second);
  }
  EXPECT_EQ(sink.marks[1].detail, "scripted");
  EXPECT_EQ(sink.marks[5].kind, MarkKind::fault);
  EXPECT_EQ(sink.marks[5].detail, "W");
  EXPECT_EQ(sink.marks[6].kind, MarkKind::action);
}

// ---- shapes

Action shaped(std::int64_t at_ps, ActionKind kind, Shape shape, double least, double most) {
  Action a = action(at_ps, kind, 0.0);
  a.shape = std::make_shared<const Shape>(std::move(shape));
  a.least = least;
  a.most = most;
  return a;
}
Shape sine(double amplitude, double frequency_Hz, std::int64_t lasts_ps) {
  Shape shape;
  shape.kind = Shape::Kind::sine;
  shape.size = amplitude;
  shape.frequency_Hz = frequency_Hz;
  shape.lasts_ps = lasts_ps;
  return shape;
}
Shape table(std::vector<ShapePoint> points) {
  Shape shape;
  shape.kind = Shape::Kind::table;
  shape.lasts_ps = points.back().at_ps;
  shape.points = std::move(points);
  return shape;
}

// By hand: at rest 0.85 V; a twelfth of a period of 100 Hz later 0.85 V + 0.25 V, a quarter later
// 0.85 V + 0.5 V, three quarters later less than idle and kept within 0.6 V; after two periods 0.85
// V again.
TEST(Shapes, ASineIsExactAndKeptWithinItsBounds) {
  const auto volts = throttle_readings(
      {2 * ms, 2 * ms + 5 * ms / 6, 2 * ms + 2'500 * us, 2 * ms + 7'500 * us, 19 * ms},
      {shaped(2 * ms, ActionKind::throttle, sine(0.5, 100.0, 15 * ms), 0.6, 6.0)});
  const std::vector<double> expected = {0.85, 1.1, 1.35, 0.6, 0.85};
  ASSERT_EQ(volts.size(), expected.size());
  for (std::size_t k = 0; k < volts.size(); ++k) EXPECT_NEAR(volts[k], expected[k], 1e-9) << k;
}

// From 1 V at once to 3 V within 4 ms, down to 2 V within 2 ms, which holds; a ramp takes over from
// where the table stands.
TEST(Shapes, ATableIsStraightBetweenItsPoints) {
  const auto volts = throttle_readings(
      {2 * ms - 1, 2 * ms, 4 * ms, 6 * ms, 7 * ms, 8 * ms, 9 * ms, 11 * ms, 13 * ms},
      {shaped(2 * ms, ActionKind::throttle, table({{0, 1.0}, {4 * ms, 3.0}, {6 * ms, 2.0}}), 0.0,
              6.0),
       action(10 * ms, ActionKind::throttle, 4.0, 2 * ms)});
  const std::vector<double> expected = {0.85, 1.0, 2.0, 3.0, 2.5, 2.0, 2.0, 3.0, 4.0};
  ASSERT_EQ(volts.size(), expected.size());
  for (std::size_t k = 0; k < volts.size(); ++k) EXPECT_NEAR(volts[k], expected[k], 1e-12) << k;
}

// Without friction, on 0.02 kg m^2: a torque of A sin(2 pi f t) changes the speed by
// A (1 - cos(2 pi f t)) / (2 pi f J): 2 N m at 100 Hz have turned it by 2 * 2 / (2 pi 100 Hz 0.02)
// = 0.3183 rad/s after half a period, and by nothing after a whole one. Tolerance: a polygon of 64
// sides inside the sine holds (2 pi / 64)^2 / 12 = 0.08 % less.
TEST(Shapes, ThePlantFollowsASine) {
  Bench bench = hub_bench();
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  ScriptedController idle;
  KeepingSink sink;
  run(bench, standing({shaped(0, ActionKind::load_torque, sine(2.0, 100.0, 10 * ms), -10.0, 10.0)}),
      idle, sink);
  EXPECT_NEAR(at(sink, 5 * ms, Signal::speed), -0.31831F, 0.0004F);
  EXPECT_NEAR(at(sink, 10 * ms, Signal::speed), 0.0F, 1e-5F);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::speed), 0.0F, 1e-5F);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::load_torque), 0.0F, 1e-6F);
}

// The same seed draws the same; mean square over time as asked. Tolerance: 6270 points of 3 % rms
// each, so 1.5 %, three times over.
TEST(Shapes, NoiseHasItsRmsAndItsSeed) {
  Shape noise;
  noise.kind = Shape::Kind::noise;
  noise.size = 0.2;
  noise.frequency_Hz = 100.0;
  noise.lasts_ps = 20 * second;
  Shape again = noise, other = noise;
  draw_noise(noise, 7, 3);
  draw_noise(again, 7, 3);
  draw_noise(other, 7, 4);
  ASSERT_EQ(noise.points.size(), again.points.size());
  double squares = 0.0;
  for (std::size_t k = 0; k + 1 < noise.points.size(); ++k) {
    const ShapePoint &a = noise.points[k], &b = noise.points[k + 1];
    EXPECT_EQ(a.value, again.points[k].value);
    EXPECT_LT(a.at_ps, b.at_ps);
    squares += static_cast<double>(b.at_ps - a.at_ps) * 1e-12 *
               (a.value * a.value + a.value * b.value + b.value * b.value) / 3.0;
  }
  EXPECT_NEAR(std::sqrt(squares / 20.0), 0.2, 0.01);
  EXPECT_NE(noise.points[1].value, other.points[1].value);
}

// Without heat paths a body keeps what it is told: from 25 degC to 125 degC within 10 ms, told in
// steps of 1 ms.
TEST(Shapes, ABodyIsWarmedAndStaysSo) {
  Action warm = action(5 * ms, ActionKind::temperature, 398.15, 10 * ms);
  warm.body = static_cast<std::size_t>(plant::TemperatureNode::winding);
  ScriptedController idle;
  KeepingSink sink;
  run(hub_bench(), standing({warm}), idle, sink);
  EXPECT_NEAR(at(sink, 4 * ms, Signal::temperature_winding), 298.15F, 1e-3F);
  EXPECT_NEAR(at(sink, 10 * ms, Signal::temperature_winding), 348.15F, 10.0F);
  EXPECT_NEAR(at(sink, 16 * ms, Signal::temperature_winding), 398.15F, 1e-3F);
  EXPECT_NEAR(at(sink, 16 * ms, Signal::temperature_magnet), 298.15F, 1e-3F);
}

// ---- faults that come and go

// By hand: present 20 % of the time, 5 ms each: absent 20 ms each. Of 2000 s that are 80,000
// cycles; the share's deviation is 20 % * 80 % * sqrt(2 / 80,000) = 0.08 %, five times over 0.4 %.
TEST(Intermittent, HasItsShareAndItsMeanDuration) {
  const auto flips = draw_flips({0.2, 5e-3, 2000.0}, 1, 0);
  EXPECT_EQ(flips, draw_flips({0.2, 5e-3, 2000.0}, 1, 0));
  EXPECT_NE(flips, draw_flips({0.2, 5e-3, 2000.0}, 2, 0));
  ASSERT_EQ(flips.size() % 2, 1U);
  double present_s = 0.0;
  std::int64_t since_ps = 0;
  for (std::size_t k = 0; k < flips.size(); ++k) {
    EXPECT_LT(since_ps, flips[k]);
    if (k % 2 == 0) present_s += static_cast<double>(flips[k] - since_ps) * 1e-12;
    since_ps = flips[k];
  }
  EXPECT_NEAR(present_s / 2000.0, 0.2, 0.004);
  EXPECT_NEAR(present_s / (static_cast<double>(flips.size() + 1) / 2.0), 5e-3, 1e-4);
  EXPECT_LE(flips.back(), 2000 * second);
}

// Line V is low at 0 deg and its pull is up: each time it breaks it reads high. Cleared in between,
// it stays whole; left alone, it ends by itself. One mark for the fault, one for its end.
TEST(Intermittent, ComesAndGoesAndIsOneFaultInTheRecord) {
  Action flickers = fault(2 * ms, hall_line_open, 1);
  flickers.flips = {ms, 3 * ms, 4 * ms, 6 * ms, 7 * ms};
  flickers.end_mark = "hall_line_open cleared";
  const struct {
    std::vector<Action> timeline;
    std::vector<std::int64_t> edges_ms;
    std::int64_t cleared_ms;
  } cases[] = {
      {{flickers}, {2, 3, 5, 6, 8, 9}, 9},
      {{flickers, fault(7 * ms, hall_line_open, 1, true)}, {2, 3, 5, 6}, 7},
      {{flickers, fault(5 * ms + 500 * us, hall_line_open, 1, true)}, {2, 3, 5}, 5},
  };
  for (const auto& one : cases) {
    ScriptedController controller;
    KeepingSink sink;
    run(hub_bench(), standing(one.timeline), controller, sink);
    std::vector<std::int64_t> edges_ms;
    for (const io::Edge& edge : controller.delivered)
      if (edge.at.count() % ms == 0) edges_ms.push_back(edge.at.count() / ms);
    EXPECT_EQ(edges_ms, one.edges_ms);
    int begun = 0, ended = 0;
    for (const KeptMark& mark : sink.marks) {
      begun += mark.name == "hall_line_open";
      ended += mark.name == "hall_line_open cleared";
    }
    EXPECT_EQ(begun, 1);
    EXPECT_EQ(ended, 1);
    EXPECT_EQ(sink.find("hall_line_open cleared")->at_ps / ms, one.cleared_ms);
  }
}

// ---- how it starts, and the road

// 10 rad/s on a wheel of 0.25 m are 2.5 m/s: 25 mm after 10 ms, where 6 % begin, reached 10 mm on;
// by hand 3 % after 12 ms. A grade's torque is m g r slope / sqrt(1 + slope^2).
TEST(Road, IsMetByDistance) {
  Bench bench = hub_bench();
  bench.drive.shaft.hold = plant::Hold::start_speed;
  bench.drive.shaft.cart_mass_kg = 1e6;
  bench.drive.shaft.wheel_radius_m = 0.25;
  Scenario scenario = standing({});
  scenario.start.speed_rad_s = 10.0;
  scenario.road.slope.points = {{0.0, 0.0}, {25e-3, 0.0}, {35e-3, 0.06}};
  ScriptedController idle;
  KeepingSink sink;
  run(bench, scenario, idle, sink);
  const auto load_of = [](double slope) {
    return static_cast<float>(1e6 * 9.80665 * 0.25 * slope / std::sqrt(1.0 + slope * slope));
  };
  EXPECT_NEAR(at(sink, 9 * ms, Signal::load_torque), 0.0F, 1.0F);
  EXPECT_NEAR(at(sink, 12 * ms, Signal::load_torque), load_of(0.03), 20.0F);
  EXPECT_NEAR(at(sink, 15 * ms, Signal::load_torque), load_of(0.06), 20.0F);
}

// A coasting cart on ground that rolls harder. By distance: 25 mm after 10 ms (see above), four
// times as hard from there on. By time: the same from 10 ms on, and back to once by a ramp of 4 ms,
// by hand 2.5 times in the mean. Without inertia beside the cart's: domega/dt = -c g / r, c = 2 %,
// r = 0.25 m: 0.7845 rad/s^2. Tolerance: single precision of 10 rad/s.
TEST(Road, HasASurface) {
  Bench bench = hub_bench();
  bench.drive.shaft = {.inertia_kg_m2 = 1e-9,
                       .cart_mass_kg = 1e3,
                       .wheel_radius_m = 0.25,
                       .rolling_resistance = 0.02};
  const double rate = 0.02 * 9.80665 / 0.25;
  const auto speed_after = [&](Scenario scenario) {
    scenario.start.speed_rad_s = 10.0;
    ScriptedController idle;
    KeepingSink sink;
    run(bench, scenario, idle, sink);
    return at(sink, 20 * ms, Signal::speed);
  };
  EXPECT_NEAR(speed_after(standing({})), 10.0 - 0.02 * rate, 2e-6);
  Scenario road = standing({});
  road.road.rolling.points = {{0.0, 1.0}, {25e-3, 1.0}, {25e-3, 4.0}};
  EXPECT_NEAR(speed_after(road), 10.0 - (0.01 + 0.04) * rate, 1e-4);
  const Scenario ramp = standing({action(10 * ms, ActionKind::rolling_factor, 4.0),
                                  action(12 * ms, ActionKind::rolling_factor, 1.0, 4 * ms)});
  EXPECT_NEAR(speed_after(ramp), 10.0 - (0.01 + 4.0 * 2e-3 + 2.5 * 4e-3 + 4e-3) * rate, 2e-6);
}

// What grip does to the tyre, the plant's own tests hold; here, that it comes there.
TEST(Road, GivesItsGripToATyre) {
  Bench bench = hub_bench();
  bench.drive.shaft = {.coupling = plant::Coupling::slipping,
                       .cart_mass_kg = 20.0,
                       .wheel_radius_m = 0.25,
                       .hold = plant::Hold::start_speed};
  ScriptedController idle;
  KeepingSink sink;
  const Scenario scenario = standing({action(5 * ms, ActionKind::grip_factor, 0.25)});
  BenchWorld world(bench, scenario, {}, sink);
  world.begin();
  EXPECT_EQ(world.plant().state().surface.grip_share, 1.0);
  world.advance(6 * ms);
  EXPECT_EQ(world.plant().state().surface.grip_share, 0.25);
  EXPECT_EQ(world.plant().state().surface.rolling_share, 1.0);
}

// Surroundings that get 40 K warmer within 10 ms. A heatsink of 0.4 J/K on 0.5 K/W follows with 200
// ms: by hand after the ramp of slope m and length T, and 9 ms more (the frame of 20 ms stands
// before the heat's tick at that instant):
// m (T - tau (1 - e^(-T/tau))) e^(-9/200) + 40 K (1 - e^(-9/200)) = 0.940 K + 1.760 K.
// Tolerance: 1 ms of the ramp as a step, (1/12) (1 ms)^2 over tau and T.
TEST(Ambient, WarmsWhatHasHeatPaths) {
  Bench bench = hub_bench();
  bench.drive.thermal.fitted = true;
  bench.drive.thermal.heatsink_capacity_J_per_K = 0.4;
  bench.drive.thermal.heatsink_to_ambient_K_per_W = 0.5;
  ScriptedController idle;
  KeepingSink sink;
  run(bench, standing({action(0, ActionKind::ambient, 338.15, 10 * ms)}), idle, sink);
  const double tau = 0.2, over = 0.01, slope = 40.0 / over;
  const double kept = std::exp(-9e-3 / tau);
  const double expected =
      slope * (over + tau * std::expm1(-over / tau)) * kept + 40.0 * (1.0 - kept);
  EXPECT_NEAR(at(sink, 20 * ms, Signal::temperature_heatsink), 298.15 + expected, 2e-3);
  EXPECT_EQ(sink.find("ambient")->at_ps, 0);
}

// The switch is a line like brake and reverse. The built-in field-oriented controller lets its
// drive go over the last tenth below the limit: 30 rad/s, from rest with the throttle open. A rotor
// of 5e-3 kg m^2 gains almost 1 rad/s a millisecond, so that what the estimate of its speed sees
// late carries it a little beyond.
TEST(SpeedLimit, IsALineAndHoldsALowerTopSpeed) {
  const auto greatest_speed = [](bool limited) {
    Bench bench = mid_bench();
    std::get<io::FieldOrientedConfig>(bench.controller).limited_speed_rad_s = 30.0;
    Scenario scenario = drive_off(600 * ms, 3.0);
    if (limited) scenario.timeline.push_back(action(300 * ms, ActionKind::speed_limit, 0.0));
    if (limited)
      scenario.timeline.insert(scenario.timeline.begin(), action(0, ActionKind::speed_limit, 1.0));
    KeepingSink sink;
    const auto controller = io::make_controller(bench.controller);
    run(bench, scenario, *controller, sink);
    EXPECT_EQ(sink.edges_of(io::line::speed_limit).size(), limited ? 2U : 0U);
    double before = 0.0, after = 0.0;
    for (const Frame& frame : sink.frames) {
      double& most = frame.at_ps < 300 * ms ? before : after;
      most = std::max(most, double{frame.value[static_cast<std::size_t>(Signal::speed)]});
    }
    return std::pair(before, after);
  };
  const auto [limited, released] = greatest_speed(true);
  EXPECT_GT(limited, 0.9 * 30.0);
  EXPECT_LT(limited, 1.1 * 30.0);
  EXPECT_GT(released, 60.0);
  EXPECT_GT(greatest_speed(false).first, 60.0);
}

// A link that starts empty takes what the supply gives over 30 mohm and its own; a warm winding is
// there from the first moment, and no current with it.
TEST(Start, CanBeWarmAndDischarged) {
  Scenario scenario = standing({});
  scenario.start.bus_V = 5.0;
  scenario.start.temperature_K[0] = 380.0;
  scenario.start.temperature_K[1] = 350.0;
  ScriptedController idle;
  KeepingSink sink;
  const Bench bench = hub_bench();
  {
    BenchWorld world(bench, scenario, {}, sink);
    EXPECT_LT(world.plant().snapshot().bus_V, 48.0);
    EXPECT_NEAR(world.plant().state().v_cap_V, 5.0, 1e-9);
  }
  run(bench, scenario, idle, sink);
  EXPECT_NEAR(at(sink, 50 * us, Signal::temperature_winding), 380.0F, 1e-3F);
  EXPECT_NEAR(at(sink, 50 * us, Signal::temperature_magnet), 350.0F, 1e-3F);
  EXPECT_EQ(at(sink, 50 * us, Signal::current_U), 0.0F);
  EXPECT_NEAR(at(sink, 15 * ms, Signal::bus_voltage), 48.0F, 0.1F);
}

// ---- actions that wait for the plant

WaitingAction waiting(Watched what, bool above, double bound, Action does, std::int64_t for_ps = 0,
                      std::string after = {}, std::int64_t by_ps = 0) {
  WaitingAction one;
  one.condition = {what, above, bound, for_ps, by_ps, std::move(after), "as written"};
  one.action = std::move(does);
  return one;
}

/// A rotor that a dynamometer takes from 10 rad/s at 5 ms to 30 rad/s at 15 ms, 2 rad/s/ms; the
/// cart's wheel has a radius of 0.25 m.
struct Driven {
  Bench bench = hub_bench();
  Scenario scenario =
      standing({action(5 * ms, ActionKind::held_speed, 30.0, 10 * ms),
                action(8 * ms, ActionKind::reverse, 1.0), fault(9 * ms, phase_open, 1)});
  Driven() {
    bench.drive.shaft.hold = plant::Hold::start_speed;
    bench.drive.shaft.cart_mass_kg = 20.0;
    scenario.start.speed_rad_s = 10.0;
  }
};

// By hand, on the grid of 50 us: 20 rad/s is passed after 10 ms, so it is seen at 10.05 ms; 25
// rad/s at 12.5 ms. The cart has come 25.1 mm after 10 ms at most; at 2.5 m/s for 5 ms 12.5 mm,
// from there on 12.5 mm + 2.5 m/s t + 0.25 m t^2 rad/s/ms: 12.6 mm are passed at 5.04 ms.
TEST(Conditions, ActAtTheFirstPointOfTheGridAtWhichTheyHold) {
  const struct {
    const char* what;
    WaitingAction one;
    std::int64_t due_ps;  // 0: not met
  } cases[] = {
      {"above", waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0)),
       10'050 * us},
      {"for", waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0), 2 * ms),
       12'050 * us},
      {"below, from the start",
       waiting(Watched::speed, false, 20.0, action(0, ActionKind::brake, 1.0)), 0},
      {"after an action",
       waiting(Watched::speed, true, 9.0, action(0, ActionKind::brake, 1.0), 0, "reverse on"),
       8 * ms},
      {"after a fault",
       waiting(Watched::speed, true, 9.0, action(0, ActionKind::brake, 1.0), 0, "phase_open"),
       9 * ms},
      {"since",
       waiting(Watched::time_since, true, 1e-3, action(0, ActionKind::brake, 1.0), 0, "reverse on"),
       9'050 * us},
      {"distance", waiting(Watched::distance, true, 12.6e-3, action(0, ActionKind::brake, 1.0)),
       5'050 * us},
      {"cart", waiting(Watched::vehicle_speed, true, 5.0, action(0, ActionKind::brake, 1.0)),
       10'050 * us},
      {"in time",
       waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0), 0, "", 10'100 * us),
       10'050 * us},
      {"never", waiting(Watched::bus_voltage, true, 60.0, action(0, ActionKind::brake, 1.0)), -1},
      {"too late",
       waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0), 0, "", 10 * ms + 1),
       -1},
      {"held too short",
       waiting(Watched::speed, true, 29.0, action(0, ActionKind::brake, 1.0), 6 * ms), -1},
  };
  for (const auto& one : cases) {
    Driven driven;
    driven.scenario.waiting = {one.one};
    auto& by_ps = driven.scenario.waiting[0].condition.by_ps;
    if (by_ps == 0) by_ps = driven.scenario.lasts_ps;
    for (const std::int64_t look_ahead_ps : {100 * us, 7 * us}) {
      ScriptedController controller(62'500);
      KeepingSink sink;
      run(driven.bench, driven.scenario, controller, sink, look_ahead_ps);
      const KeptMark* brake = sink.find("brake on");
      const KeptMark* missed = sink.find(condition_not_met);
      EXPECT_EQ(brake != nullptr ? brake->at_ps : -1, one.due_ps) << one.what;
      EXPECT_EQ(missed != nullptr ? missed->at_ps : -1, one.due_ps < 0 ? by_ps : -1) << one.what;
    }
  }
}

// However the run is cut into turns: here 200 us and a bit, as a cycle by the wall clock takes
// them.
TEST(Conditions, AnswerAlikeInTheTurnsOfACycle) {
  Driven driven;
  driven.scenario.waiting = {
      waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0), 0, "", 20 * ms)};
  KeepingSink sink;
  BenchWorld world(driven.bench, driven.scenario, {}, sink);
  world.begin();
  for (std::int64_t t_ps = 0; t_ps < 20 * ms; t_ps += 203'456'789) world.advance(t_ps);
  ASSERT_NE(sink.find("brake on"), nullptr);
  EXPECT_EQ(sink.find("brake on")->at_ps, 10'050 * us);
}

TEST(Conditions, CostNothingOnceNothingWaits) {
  Driven driven;
  driven.scenario.waiting = {
      waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0), 0, "", 20 * ms)};
  KeepingSink sink;
  BenchWorld world(driven.bench, driven.scenario, {}, sink);
  world.begin();
  world.advance(10 * ms);
  EXPECT_EQ(world.next_event_ps(), 10'050 * us);
  world.advance(10'050 * us);
  EXPECT_EQ(world.next_event_ps(), 15 * ms);  // the end of the ramp
}

// What one condition does opens the next only at the next point; a fault comes and goes by
// conditions, and neither twice.
TEST(Conditions, FollowOneAnother) {
  Driven driven;
  const auto by = [](WaitingAction one) {
    one.condition.by_ps = 20 * ms;
    return one;
  };
  driven.scenario.waiting = {
      by(waiting(Watched::speed, true, 9.0, action(0, ActionKind::brake, 0.0), 0, "brake on")),
      by(waiting(Watched::speed, true, 20.0, action(0, ActionKind::brake, 1.0))),
      by(waiting(Watched::speed, true, 22.0, fault(0, phase_open, 1))),
      by(waiting(Watched::speed, true, 24.0, fault(0, phase_open, 1, true))),
      by(waiting(Watched::speed, true, 26.0, fault(0, phase_open, 1, true)))};
  ScriptedController controller(62'500);
  KeepingSink sink;
  run(driven.bench, driven.scenario, controller, sink);
  std::vector<std::pair<std::string, std::int64_t>> seen;
  for (const KeptMark& mark : sink.marks)
    if (mark.at_ps > 9 * ms) seen.emplace_back(mark.name, mark.at_ps);
  EXPECT_EQ(seen, (std::vector<std::pair<std::string, std::int64_t>>{
                      {"brake on", 10'050 * us},
                      {"brake off", 10'100 * us},
                      {"fault present already", 11'050 * us},
                      {"phase_open cleared", 12'050 * us},
                      {"fault absent already", 13'050 * us}}));
}

TEST(BrakeLine, ReachesTheControllerWithItsPolarity) {
  Bench bench = hub_bench();
  bench.harness.lines[io::index(io::line::brake)].active_high = false;
  ScriptedController controller;
  KeepingSink sink;
  run(bench,
      standing({action(2 * ms, ActionKind::brake, 1.0), action(3 * ms, ActionKind::brake, 0.0)}),
      controller, sink);
  ASSERT_EQ(controller.delivered.size(), 2U);
  EXPECT_EQ(controller.delivered[0].line, io::line::brake);
  EXPECT_EQ(controller.delivered[0].at.count(), 2 * ms);
  EXPECT_EQ(controller.delivered[0].level, Level::low);
  EXPECT_EQ(controller.delivered[1].level, Level::high);
}

// At 0 deg electrical line U is high (-90 to 90 deg), line V low (30 to 210 deg is its high half).
struct OpenHall {
  int leg;
  Pull pull;
  std::vector<Level> expected;  // what is delivered at the break and at its repair
};
class HallLineOpen : public ::testing::TestWithParam<OpenHall> {};

TEST_P(HallLineOpen, LeavesTheLevelToThePull) {
  Bench bench = hub_bench();
  for (auto& line : bench.harness.lines) line.pull = GetParam().pull;
  ScriptedController controller;
  KeepingSink sink;
  const int leg = GetParam().leg;
  run(bench,
      standing({fault(2 * ms, hall_line_open, leg), fault(4 * ms, hall_line_open, leg, true)}),
      controller, sink);
  std::vector<Level> levels;
  for (const io::Edge& edge : controller.delivered) {
    EXPECT_EQ(io::index(edge.line), io::index(io::line::hall_U) + static_cast<std::size_t>(leg));
    levels.push_back(edge.level);
  }
  EXPECT_EQ(levels, GetParam().expected);
  ASSERT_NE(sink.find("hall_line_open"), nullptr);
  EXPECT_EQ(sink.find("hall_line_open")->kind, MarkKind::fault);
}

INSTANTIATE_TEST_SUITE_P(
    Pulls, HallLineOpen,
    ::testing::Values(OpenHall{0, Pull::up, {}}, OpenHall{1, Pull::up, {Level::high, Level::low}},
                      OpenHall{0, Pull::down, {Level::low, Level::high}},
                      OpenHall{0, Pull::none, {Level::released, Level::high}}));

// Direct current through U and V of a rotor that stands still: 48 V over all resistances in the
// way. By hand: the joint's ohm comes on top, 48 V / i_after = 48 V / i_before + 1 ohm. 30 ms are
// more than ten times 2 * 220 uH / 0.2 ohm.
TEST(BadJoint, StandsInSeriesWithItsWindingUntilCleared) {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e9;
  const Action joint = fault(35 * ms, bad_joint, 0, false, 1.0);
  ScriptedController controller;
  controller.drive(ms, io::line::gate_UH, Level::high);
  controller.drive(ms, io::line::gate_VL, Level::high);
  KeepingSink sink;
  run(bench, standing({joint, fault(65 * ms, bad_joint, 0, true)}, 100 * ms), controller, sink);
  const double before_A = at(sink, 34 * ms, Signal::current_U);
  EXPECT_GT(before_A, 100.0);
  EXPECT_NEAR(at(sink, 64 * ms, Signal::current_U), 48.0 / (48.0 / before_A + 1.0), 0.01);
  EXPECT_NEAR(at(sink, 99 * ms, Signal::current_U), before_A, 0.01);
  ASSERT_NE(sink.find("bad_joint"), nullptr);
  EXPECT_EQ(sink.find("bad_joint")->detail, "U");
  ASSERT_NE(sink.find("bad_joint cleared"), nullptr);
}

// Below 8 V the driver takes all switches off and pulls its fault line; 1 ms after its supply is
// back it tries again.
TEST(DriverSupply, TakesTheSwitchesOffWhileItIsLow) {
  Bench bench = hub_bench();
  bench.drive.gate_driver.undervoltage_V = 8.0;
  bench.drive.gate_driver.retry_after_s = 1e-3;
  bench.harness.lines[io::index(io::line::driver_enable)].connected = false;
  ScriptedController controller;
  controller.drive(ms, io::line::gate_UH, Level::high);
  KeepingSink sink;
  run(bench,
      standing({action(5 * ms, ActionKind::driver_supply, 5.0),
                action(10 * ms, ActionKind::driver_supply, 12.0)}),
      controller, sink);
  const auto fault_line = sink.edges_of(io::line::driver_fault);
  ASSERT_EQ(fault_line.size(), 2U);
  EXPECT_EQ(fault_line[0].at_ps, 5 * ms);
  EXPECT_EQ(fault_line[0].level, 1);
  EXPECT_EQ(fault_line[1].at_ps, 11 * ms);
  // All terminals hang at the high rail by the one switch, and float half way or at the rail
  // without.
  EXPECT_NEAR(at(sink, 4 * ms, Signal::terminal_U), 48.0F, 0.1F);
  EXPECT_LT(at(sink, 8 * ms, Signal::terminal_U), 40.0F);
  EXPECT_NEAR(at(sink, 15 * ms, Signal::terminal_U), 48.0F, 0.1F);
  ASSERT_NE(sink.find("driver_supply"), nullptr);
  EXPECT_EQ(sink.find("driver_supply")->kind, MarkKind::action);
}

TEST(HallLineStuck, HoldsTheWireUntilCleared) {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e6;
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  Scenario scenario = standing({}, 100 * ms);
  scenario.start.speed_rad_s = 10.0;
  const Action stuck = fault(1 * ms, hall_line_stuck, 0, false, 1);
  scenario.timeline = {stuck, fault(80 * ms, hall_line_stuck, 0, true)};
  ScriptedController controller;
  KeepingSink sink;
  run(bench, scenario, controller, sink);
  int of_U = 0, of_V = 0;
  for (const io::Edge& edge : controller.delivered) {
    if (edge.line == io::line::hall_U && edge.at.count() < 80 * ms) ++of_U;
    if (edge.line == io::line::hall_V) ++of_V;
  }
  EXPECT_EQ(of_U, 0);  // it was high and stays so
  EXPECT_GE(of_V, 4);  // 2 * 23.9 flips a second
  EXPECT_GE(controller.delivered.back().at.count(), 80 * ms);
}

// ---- the driver's hands, ahead of the plant

TEST(ForetoldDriver, StandsWhereTheScenarioWillHaveHimAndLeavesTheWorldAlone) {
  const Bench bench = mid_bench();
  Scenario scenario;
  scenario.lasts_ps = 100 * ms;
  scenario.timeline = {
      action(10 * ms, ActionKind::key, 1.0), action(20 * ms, ActionKind::throttle, 2.85, 10 * ms),
      action(24 * ms, ActionKind::brake, 1.0), action(30 * ms, ActionKind::key, 0.0)};
  KeepingSink sink;
  BenchWorld world(bench, scenario, {}, sink);
  world.begin();
  world.advance(5 * ms);
  const auto shown = [&](std::int64_t t_ps) {
    BenchWorld::Pins pins;
    const bool on = world.foretell_driver(t_ps, pins);
    const auto level = [&](io::LineId line) { return pins.levels[io::index(line)]; };
    EXPECT_EQ(level(io::line::key), world.wiring().level(io::line::key, on));
    return std::tuple(on, level(io::line::brake) == world.wiring().level(io::line::brake, true),
                      pins.volts[io::index(io::channel::throttle)]);
  };
  EXPECT_EQ(shown(5 * ms), std::tuple(false, false, 0.85));
  EXPECT_EQ(shown(10 * ms), std::tuple(true, false, 0.85));
  // 2 V over 10 ms, half of them gone.
  EXPECT_NEAR(std::get<2>(shown(25 * ms)), 1.85, 1e-12);
  EXPECT_TRUE(std::get<1>(shown(25 * ms)));
  EXPECT_FALSE(std::get<0>(shown(35 * ms)));
  EXPECT_NEAR(std::get<2>(shown(35 * ms)), 2.85, 1e-12);
  // Nothing of it has happened.
  EXPECT_EQ(world.now_ps(), 5 * ms);
  EXPECT_EQ(world.next_event_ps(), 10 * ms);
  EXPECT_EQ(sink.find("key on"), nullptr);
  // From the middle of a ramp.
  world.advance(22 * ms);
  EXPECT_NEAR(std::get<2>(shown(26 * ms)), 2.05, 1e-12);
}

}  // namespace
}  // namespace stillrotor::test
