// Faults of analog sensors and wires, of the driver's hands and of the controller's supply.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "emulator/faults/channel_options.hpp"
#include "tests/emulator/faults/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;
namespace channel = io::channel;

/// Everything fitted, nothing turns, no gate switches.
Bench resting_bench() {
  Bench bench = hub_bench();
  bench.drive.temperature[0].kind = plant::TemperatureSensing::ntc;
  bench.drive.temperature[1].kind = plant::TemperatureSensing::platinum;
  bench.drive.temperature[1].nominal_ohm = 1000.0;
  bench.drive.temperature[1].supply_V = 3.3;
  bench.drive.dc_link_current.kind = plant::CurrentSensing::dc_link;
  bench.drive.dc_link_current.gain_V_per_A[0] = 0.01;
  return bench;
}

double read_V(const Bench& bench, io::ChannelId wire, std::vector<Action> timeline,
              KeepingSink& sink) {
  ScriptedController controller(62'500);
  double volts = -1.0;
  controller.at(30 * ms, [&](io::World& w, io::Time t) { volts = w.volts(wire, t); });
  run(bench, turning(0.0, 40 * ms, std::move(timeline)), controller, sink);
  return volts;
}

// By hand. Sensors of currents: 2.5 V at rest, 20 mV/A behind low-side shunts that invert twice, 10
// mV/A in the DC link, clipped to 0 and 5 V. Bus 48 V at 1/20. Dividers of the temperatures end at
// their own supply, or at ground. A drift of 1000 A/s has brought 10 A within 10 ms.
TEST(ChannelFaults, ShowAtThePinAndAreGoneWhenCleared) {
  struct Case {
    const Fault* fault;
    FaultSettings settings;
    io::ChannelId pin;
    double volts, sound_V;
  };
  const double ntc_V = 3.401361, throttle_V = 0.85;
  const std::vector<Case> cases = {
      {&current_sensor_offset, {{0, 2.0}}, channel::phase_current_U, 2.54, 2.5},
      {&current_sensor_offset, {{1, -2.0}}, channel::phase_current_V, 2.46, 2.5},
      {&current_sensor_offset, {{3, 30.0}}, channel::dc_link_current, 2.8, 2.5},
      {&current_sensor_offset, {{0, 500.0}}, channel::phase_current_U, 5.0, 2.5},
      {&current_sensor_offset, {{0, 2.0}}, channel::phase_current_V, 2.5, 2.5},
      {&current_sensor_drift, {{2, 1000.0}}, channel::phase_current_W, 2.7, 2.5},
      {&current_sensor_gain, {{0, 0.5}}, channel::phase_current_U, 2.5, 2.5},
      {&bus_voltage_sensor_wrong, {{0.8, 5.0}}, channel::bus_voltage, 2.17, 2.4},
      {&temperature_sensor_open, {{0}}, channel::temperature_motor, 5.0, ntc_V},
      {&temperature_sensor_short, {{0}}, channel::temperature_motor, 0.0, ntc_V},
      {&temperature_sensor_open,
       {{1}},
       channel::temperature_bridge,
       3.3,
       3.3 * 1097.347 / (1097.347 + 4700.0)},
      {&throttle_wire_open, {{4.7}}, channel::throttle, 4.7, throttle_V},
      {&throttle_wire_short, {{0}}, channel::throttle, 0.0, throttle_V},
      {&throttle_wire_short, {{1}}, channel::throttle, 5.0, throttle_V},
      {&throttle_ground_lifted, {}, channel::throttle, 5.0, throttle_V},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(std::string(c.fault->name) + " " + std::string(io::name(c.pin)));
    const Action begins = broken(20 * ms, *c.fault, c.settings);
    KeepingSink faulty, mended;
    EXPECT_TRUE(c.fault->fits(resting_bench(), c.settings));
    EXPECT_NEAR(read_V(resting_bench(), c.pin, {begins}, faulty), c.volts, 1e-6);
    EXPECT_NEAR(read_V(resting_bench(), c.pin,
                       {begins, broken(25 * ms, *c.fault, c.settings, true)}, mended),
                c.sound_V, 1e-6);
    // The record shows the pin.
    const auto recorded = [&](const KeepingSink& sink) {
      const Signal signal = c.pin == channel::throttle          ? Signal::throttle
                            : c.pin == channel::bus_voltage     ? Signal::sense_bus
                            : c.pin == channel::phase_current_U ? Signal::sense_U
                            : c.pin == channel::phase_current_V ? Signal::sense_V
                                                                : Signal::sense_W;
      return at(sink, 30 * ms, signal);
    };
    const bool in_record = c.pin == channel::throttle || c.pin == channel::bus_voltage ||
                           io::index(c.pin) <= io::index(channel::phase_current_W);
    if (!in_record) continue;
    EXPECT_NEAR(recorded(faulty), c.volts, 1e-6);
    EXPECT_NEAR(recorded(mended), c.sound_V, 1e-6);
  }
}

// Dividers of 1/20. From 25 ms on UH connects the machine to the bus of 48 V, no current flows, and
// all terminals stand there: 2.4 V. Stuck at 20 ms, before that; half of it and 10 V more: 1.7 V.
TEST(ChannelFaults, OfTheTerminalsVoltages) {
  Bench bench = resting_bench();
  bench.drive.phase_voltage.fitted = true;
  const auto read_at = [&](io::ChannelId pin, std::int64_t t_ps, std::vector<Action> timeline) {
    ScriptedController controller(62'500);
    double volts = -1.0;
    const auto look = [&](io::World& w, io::Time t) { volts = w.volts(pin, t); };
    if (t_ps < 25 * ms) controller.at(t_ps, look);
    controller.drive(25 * ms, io::line::gate_UH, Level::high);
    if (t_ps > 25 * ms) controller.at(t_ps, look);
    KeepingSink sink;
    run(bench, turning(0.0, 40 * ms, std::move(timeline)), controller, sink);
    return volts;
  };
  for (double which = 0.0; which < 4.0; ++which) {
    const io::ChannelId pin = voltage_channel(static_cast<std::size_t>(which));
    SCOPED_TRACE(std::string(io::name(pin)));
    const Action wrong = broken(20 * ms, phase_voltage_sensor_wrong, {{which, 0.5, 10.0}}),
                 stuck = broken(20 * ms, phase_voltage_sensor_stuck, {{which}});
    EXPECT_TRUE(wrong.fault->fits(bench, wrong.settings));
    EXPECT_NEAR(read_at(pin, 30 * ms, {}), 2.4, 1e-6);
    EXPECT_NEAR(read_at(pin, 30 * ms, {wrong}), 1.7, 1e-6);
    const double before_V = read_at(pin, 20 * ms, {});
    EXPECT_LT(before_V, 2.3);
    EXPECT_NEAR(read_at(pin, 30 * ms, {stuck}), before_V, 1e-9);
    EXPECT_NEAR(read_at(pin, 30 * ms, {wrong, broken(25 * ms, *wrong.fault, wrong.settings, true)}),
                2.4, 1e-6);
    EXPECT_NEAR(read_at(pin, 30 * ms, {stuck, broken(25 * ms, *stuck.fault, stuck.settings, true)}),
                2.4, 1e-6);
  }
}

// Current from U to V, in-line sensors of 2 mV/A and of different gains, so that all can be told
// apart. Expected from the machine's own current of the record.
TEST(CurrentSensorFaults, ActOnTheCurrentThatFlows) {
  Bench bench = resting_bench();
  bench.drive.shaft.hold = plant::Hold::start_speed;
  bench.drive.phase_current = {.kind = plant::CurrentSensing::in_line,
                               .gain_V_per_A = {0.002, 0.003, 0.002}};
  struct Case {
    const char* name;
    Action fault;
    std::function<std::array<double, 2>(double)> pins;  // of U and V
  };
  const std::vector<Case> cases = {
      {"sound", broken(ms, throttle_ground_lifted),
       [](double i) {
         return std::array{2.5 + 0.002 * i, 2.5 - 0.003 * i};
       }},
      {"gain", broken(ms, current_sensor_gain, {{1, 0.8}}),
       [](double i) {
         return std::array{2.5 + 0.002 * i, 2.5 - 0.8 * 0.003 * i};
       }},
      {"saturated", broken(ms, current_sensor_saturated, {{1, 100.0}}),
       [](double i) {
         return std::array{2.5 + 0.002 * i, 2.5 - 0.3};
       }},
      {"stuck before", broken(ms, current_sensor_stuck, {{0}}),
       [](double i) {
         return std::array{2.5, 2.5 - 0.003 * i};
       }},
      {"swapped", broken(ms, current_sensors_swapped, {{0}}),
       [](double i) {
         return std::array{2.5 - 0.003 * i, 2.5 + 0.002 * i};
       }},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(c.name);
    ScriptedController controller(62'500);
    controller.drive(2 * ms, io::line::gate_UH, Level::high);
    controller.drive(2 * ms, io::line::gate_VL, Level::high);
    std::array<double, 2> read{};
    controller.at(30 * ms, [&](io::World& w, io::Time t) {
      read = {w.volts(channel::phase_current_U, t), w.volts(channel::phase_current_V, t)};
    });
    KeepingSink sink;
    run(bench, turning(0.0, 40 * ms, {c.fault}), controller, sink);
    const auto current_A = static_cast<double>(at(sink, 30 * ms, Signal::current_U));
    ASSERT_GT(current_A, 150.0);
    const std::array<double, 2> expected = c.pins(current_A);
    EXPECT_NEAR(read[0], expected[0], 1e-5);
    EXPECT_NEAR(read[1], expected[1], 1e-5);
    EXPECT_NEAR(at(sink, 30 * ms, Signal::sense_V), expected[1], 1e-5);
  }
}

// 5 A rms are 100 mV. Of 2000 readings the mean lies within 5 * 100 mV / sqrt 2000, the deviation
// within 5 * 100 mV / sqrt 4000.
TEST(CurrentSensorFaults, NoiseHasItsSizeAndFollowsTheSeed) {
  const auto readings = [](std::uint64_t seed) {
    ScriptedController controller(62'500);
    std::vector<double> volts;
    for (int k = 0; k < 2000; ++k)
      controller.at(10 * ms + k * us, [&](io::World& w, io::Time t) {
        volts.push_back(w.volts(channel::phase_current_U, t));
      });
    Scenario scenario = turning(0.0, 20 * ms, {broken(ms, current_sensor_noisy, {{0, 5.0}})});
    scenario.seed = seed;
    KeepingSink sink;
    run(hub_bench(), scenario, controller, sink);
    return volts;
  };
  const std::vector<double> volts = readings(1);
  double sum = 0.0, squares = 0.0;
  for (const double v : volts) sum += v - 2.5, squares += (v - 2.5) * (v - 2.5);
  EXPECT_NEAR(sum / 2000.0, 0.0, 5.0 * 0.1 / std::sqrt(2000.0));
  EXPECT_NEAR(std::sqrt(squares / 2000.0), 0.1, 5.0 * 0.1 / std::sqrt(4000.0));
  EXPECT_EQ(volts, readings(1));
  EXPECT_NE(volts, readings(2));
}

// ---- what errors of a current sensor do to the torque of a field-oriented drive

constexpr double held_rad_s = 20.0;  // 4 pole pairs: 80 rad/s electrical
constexpr double flux_Wb = 30e-3, torque_per_A = 1.5 * 4.0 * flux_Wb;

/// Half throttle at a held speed, sensors in line of which the controller reads U and V. No
/// saliency, so torque is i_q alone.
struct Ripple {
  double mean_Nm;
  std::array<double, 3> amplitude_Nm;  // at 0 (unused), f_e and 2 f_e
};
Ripple ripple(std::vector<Action> faults) {
  Bench bench = mid_bench();
  bench.drive.machine.inductance_q_H = bench.drive.machine.inductance_d_H;
  bench.drive.shaft.hold = plant::Hold::start_speed;
  bench.drive.phase_current = {.kind = plant::CurrentSensing::in_line};
  bench.drive.encoder.lines = 4096;
  auto& controller = std::get<io::FieldOrientedConfig>(bench.controller);
  controller.scaling.low_side_shunts = false;
  controller.inductance_q_H = controller.inductance_d_H;
  controller.encoder_lines = 4096;
  Scenario scenario = turning(held_rad_s, 800 * ms, {});
  scenario.timeline = {action(20 * ms, ActionKind::throttle, 2.5, 20 * ms)};
  for (Action& fault : faults) scenario.timeline.push_back(std::move(fault));
  KeepingSink sink;
  run(bench, scenario, sink);
  // The last five electrical turns.
  const double electrical_rad_s = 4.0 * held_rad_s,
               window_s = 5.0 * 2.0 * std::numbers::pi / electrical_rad_s;
  std::array<std::complex<double>, 3> sum{};
  int count = 0;
  for (const Frame& frame : sink.frames) {
    const double t_s = 1e-12 * static_cast<double>(frame.at_ps);
    if (t_s <= 0.8 - window_s) continue;
    ++count;
    for (int n = 0; n < 3; ++n)
      sum[static_cast<std::size_t>(n)] +=
          static_cast<double>(frame.value[static_cast<std::size_t>(Signal::torque_mean)]) *
          std::polar(1.0, -n * electrical_rad_s * t_s);
  }
  return {sum[0].real() / count,
          {0.0, 2.0 * std::abs(sum[1]) / count, 2.0 * std::abs(sum[2]) / count}};
}

// By hand. The controller takes W from the other two: an error of d in U alone is the vector (d, d
// / sqrt 3), 2 / sqrt 3 d long. It keeps what it sees constant on the rotor's axes, so the machine
// gets the error, negative. An offset stands still on the stator and turns with f_e on the rotor:
// ripple at f_e of 2 / sqrt 3 d times torque an ampere. A gain of g leaves (1 - 1/g) i_U as error,
// i_U = I cos: half of its length turns with 2 f_e, I / sqrt 3 |1 - 1/g| times torque an ampere.
// Tolerance 3 %: the controller decouples its axes by what it sees, which takes
// omega_e^2 / (2 pi 500 Hz R / L) = 0.8 % of the ripple at f_e and 1.6 % at 2 f_e; the loop's own
// lag takes 0.03 %, dead time and the encoder's steps leave the rest.
TEST(CurrentSensorFaults, RippleTorqueAtOnceAndTwiceTheElectricalFrequency) {
  const Ripple sound = ripple({});
  ASSERT_GT(sound.mean_Nm, 2.0);
  EXPECT_LT(sound.amplitude_Nm[1], 0.01 * sound.mean_Nm);
  EXPECT_LT(sound.amplitude_Nm[2], 0.01 * sound.mean_Nm);

  const Ripple offset = ripple({broken(100 * ms, current_sensor_offset, {{0, 2.0}})});
  const double at_once = 2.0 / std::numbers::sqrt3 * 2.0 * torque_per_A;
  EXPECT_NEAR(offset.amplitude_Nm[1], at_once, 0.03 * at_once);
  EXPECT_LT(offset.amplitude_Nm[2], 0.03 * at_once);

  const Ripple gain = ripple({broken(100 * ms, current_sensor_gain, {{0, 0.9}})});
  const double at_twice = (1.0 / 0.9 - 1.0) / std::numbers::sqrt3 * sound.mean_Nm;
  EXPECT_NEAR(gain.amplitude_Nm[2], at_twice, 0.03 * at_twice);
  EXPECT_LT(gain.amplitude_Nm[1], 0.03 * at_twice);
}

// ---- the driver's hands and the controller's supply

TEST(BrakeSwitchStuck, HoldsTheLineWhateverTheDriverDoes) {
  for (const int position : {0, 1}) {
    ScriptedController controller(62'500);
    std::vector<Level> read;
    for (const std::int64_t t : {5 * ms, 15 * ms, 25 * ms, 35 * ms})
      controller.at(
          t, [&](io::World& w, io::Time at) { read.push_back(w.level(io::line::brake, at)); });
    KeepingSink sink;
    run(hub_bench(),
        turning(0.0, 40 * ms,
                {action(ms, ActionKind::brake, position == 0),
                 broken(10 * ms, brake_switch_stuck, {{static_cast<double>(position)}}),
                 action(20 * ms, ActionKind::brake, position != 0),
                 broken(30 * ms, brake_switch_stuck, {}, true)}),
        controller, sink);
    const Level held = position == 1 ? Level::high : Level::low,
                other = position == 1 ? Level::low : Level::high;
    EXPECT_EQ(read, (std::vector<Level>{other, held, held, held})) << position;
  }
}

// Three times off and on within 2 ms each, on the line and at the supply; then the key is on.
TEST(KeyBounces, TakesLineAndSupplyWithItAndEndsAsTheKeyStands) {
  ScriptedController controller(62'500);
  KeepingSink sink;
  run(hub_bench(), turning(0.0, 40 * ms, {broken(10 * ms, key_bounces, {{3.0, 2e-3}})}), controller,
      sink);
  std::vector<std::pair<std::int64_t, double>> expected = {{0, 5.0}};
  for (int k = 0; k < 6; ++k) expected.emplace_back((10 + k) * ms, k % 2 == 0 ? 0.0 : 5.0);
  EXPECT_EQ(controller.powered, expected);
  const auto edges = sink.edges_of(io::line::key);
  ASSERT_EQ(edges.size(), 6U);
  EXPECT_TRUE(edges.back().level);
  EXPECT_EQ(edges.back().at_ps, 15 * ms);
}

// A stand-in runs above 80 % of its supply: at 2.5 V it lets go of its gates, and starts anew.
TEST(ControllerBrownOut, StopsTheStandInWhichStartsAnew) {
  Scenario scenario = drive_off(600 * ms, 2.0);
  scenario.timeline.push_back(broken(200 * ms, controller_brown_out, {{2.5}}));
  scenario.timeline.push_back(broken(220 * ms, controller_brown_out, {}, true));
  scenario.timeline.push_back(action(240 * ms, ActionKind::throttle, 0.85));
  scenario.timeline.push_back(action(300 * ms, ActionKind::throttle, 2.0));
  KeepingSink sink;
  run(hub_bench(), scenario, sink);
  const auto driven = [&](std::int64_t from_ps, std::int64_t to_ps) {
    return std::count_if(sink.edges.begin(), sink.edges.end(), [&](const LineEdge& e) {
      return e.line < io::gate_count && e.at_ps > from_ps && e.at_ps < to_ps;
    });
  };
  EXPECT_GT(driven(150 * ms, 200 * ms), 100);
  EXPECT_EQ(driven(200 * ms + us, 220 * ms), 0);
  EXPECT_GT(driven(400 * ms, 600 * ms), 100);
}

}  // namespace
}  // namespace stillrotor::test
