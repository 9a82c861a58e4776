// Sensors as a controller meets them at the connector: bits clocked out, pulses, voltages.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using io::Level;

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double omega = 10.0;  // rad/s, mechanical, kept by the inertia

Bench turning_bench(plant::AngleOutput output) {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e6;
  bench.drive.shaft.coulomb_friction_Nm = 0.0;
  bench.drive.hall.fitted = false;
  bench.drive.absolute_angle.output = output;
  return bench;
}

Scenario turning(std::int64_t lasts_ps) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.start.speed_rad_s = omega;
  return scenario;
}

/// By hand: the code of 12 bits at that moment.
unsigned code_at(std::int64_t t_ps) {
  return static_cast<unsigned>(
             std::floor(omega * 1e-12 * static_cast<double>(t_ps) / two_pi * 4096.0)) &
         4095U;
}
unsigned binary_of(unsigned gray) {
  unsigned binary = gray;
  for (unsigned shift = 1; shift < 16; shift *= 2) binary ^= binary >> shift;
  return binary;
}

/// Clocks at 1 MHz from a moment on; a bit is taken at each edge to `taken_at`, and reading it at
/// the edge itself sees what stood before.
struct Clocked {
  std::vector<bool> bits;
  void clock(ScriptedController& c, std::int64_t from_ps, int edges, bool first_high,
             bool taken_when_high) {
    for (int k = 0; k < edges; ++k) {
      const bool high = (k % 2 == 0) == first_high;
      c.at(
          from_ps + k * us / 2,
          [this, high, taken_when_high](io::World& w, io::Time t) {
            if (high == taken_when_high)
              bits.push_back(w.level(io::line::angle_data, t) == Level::high);
            w.drive({t, io::line::angle_clock, high ? Level::high : Level::low});
          },
          true);
    }
  }
  unsigned number(std::size_t from, std::size_t count) const {
    unsigned value = 0;
    for (std::size_t k = from; k < from + count; ++k) value = value << 1 | (bits[k] ? 1U : 0U);
    return value;
  }
};

// Clock high first (idle), then 13 falling and 12 rising edges: the first fall takes the angle, the
// bits are read at the twelve falls after it.
TEST(AngleAtTheConnector, SsiGivesTheGrayCodeOfTheAngleAtTheFirstFallingEdge) {
  for (const std::int64_t look_ahead : {us, 100 * us}) {
    ScriptedController controller;
    controller.drive(1 * ms, io::line::angle_clock, Level::high);
    Clocked read;
    read.clock(controller, 40 * ms, 26, false, false);
    KeepingSink sink;
    run(turning_bench(plant::AngleOutput::ssi), turning(50 * ms), controller, sink, look_ahead);
    ASSERT_EQ(read.bits.size(), 13U);
    EXPECT_TRUE(read.bits[0]);  // idle
    EXPECT_EQ(binary_of(read.number(1, 12)), code_at(40 * ms));
    EXPECT_EQ(code_at(40 * ms), 260U);  // 0.4 rad / 2 pi * 4096 = 260.76
    // 20 us after the last clock edge, at 40.0125 ms, the line idles high.
    ASSERT_FALSE(controller.delivered.empty());
    EXPECT_EQ(controller.delivered.back().at.count(), 40 * ms + 12'500'000 + 20 * us);
    EXPECT_EQ(controller.delivered.back().level, Level::high);
    EXPECT_EQ(sink.edges_of(io::line::angle_clock).size(), 27U);
  }
}

TEST(AngleAtTheConnector, SpiGivesParityErrorAndAngleInModeOne) {
  Bench bench = turning_bench(plant::AngleOutput::spi);
  bench.harness.lines[io::index(io::line::angle_select)].active_high = false;
  ScriptedController controller;
  controller.drive(1 * ms, io::line::angle_select, Level::high);
  controller.drive(40 * ms, io::line::angle_select, Level::low);
  Clocked read;
  read.clock(controller, 40 * ms + us, 32, true, false);
  controller.drive(41 * ms, io::line::angle_select, Level::high);
  KeepingSink sink;
  run(bench, turning(50 * ms), controller, sink);
  ASSERT_EQ(read.bits.size(), 16U);
  EXPECT_EQ(read.number(2, 12), 260U);
  EXPECT_EQ(read.number(14, 2), 0U);
  EXPECT_FALSE(read.bits[1]);
  // 260 = 1 0000 0100: two ones are even already.
  EXPECT_FALSE(read.bits[0]);
}

// As above; with the error bit the parity of 260 turns odd. Mended in time, nothing is seen of it.
TEST(AngleAtTheConnector, SaysThatTheSensorIsFaultyAndKeepsTheAngle) {
  for (const bool mended : {false, true}) {
    Bench bench = turning_bench(plant::AngleOutput::spi);
    ScriptedController controller;
    controller.drive(40 * ms, io::line::angle_select, Level::high);
    Clocked read;
    read.clock(controller, 40 * ms + us, 32, true, false);
    Scenario scenario = turning(50 * ms);
    scenario.timeline = {fault(20 * ms, angle_sensor_error, 0)};
    if (mended) scenario.timeline.push_back(fault(30 * ms, angle_sensor_error, 0, true));
    KeepingSink sink;
    run(bench, scenario, controller, sink);
    ASSERT_EQ(read.bits.size(), 16U);
    EXPECT_EQ(read.bits[1], !mended);
    EXPECT_EQ(read.bits[0], !mended);
    EXPECT_EQ(read.number(2, 12), 260U);
    ASSERT_NE(sink.find("angle_sensor_error"), nullptr);
    EXPECT_EQ(sink.find("angle_sensor_error")->detail, "");
  }
}

// By hand: periods of 4 ms; in the one that begins at 8 ms the code is floor(0.08 / 2 pi * 4096) =
// 52, high for (16 + 52) / 4128 of 4 ms = 65.891 us. Time 0 is high already.
TEST(AngleAtTheConnector, PulsesAreAsLongAsTheAngleAtTheirStart) {
  ScriptedController controller;
  KeepingSink sink;
  run(turning_bench(plant::AngleOutput::pwm), turning(11 * ms), controller, sink);
  ASSERT_EQ(controller.delivered.size(), 5U);
  const auto& edge = controller.delivered;
  EXPECT_EQ(edge[1].at.count(), 4 * ms);
  EXPECT_EQ(edge[3].at.count(), 8 * ms);
  EXPECT_EQ(edge[3].level, Level::high);
  EXPECT_EQ(edge[4].at.count(), 8 * ms + 4 * ms * 68 / 4128);
  for (const io::Edge& e : edge) EXPECT_EQ(e.line, io::line::angle_data);
}

// By hand, at 20 ms: 0.2 rad; 5 periods a turn: sine 2.5 + 0.5 sin 1, cosine 2.5 + 0.5 cos 1.
// NTC at 25 deg C with 4.7 kohm: 3.401361 V. No current: DC-link offset 2.5 V. Terminals: all gates
// off, EMF far below the bus: the sense dividers hold the star point at the rail, so the largest of
// three EMFs stands at its terminal.
TEST(ChannelsAtTheConnector, ShowWhatTheirSensorsSee) {
  Bench bench = turning_bench(plant::AngleOutput::none);
  bench.drive.sin_cos.fitted = true;
  bench.drive.sin_cos.periods_per_turn = 5;
  bench.drive.temperature[0].kind = plant::TemperatureSensing::ntc;
  bench.drive.temperature[1].kind = plant::TemperatureSensing::platinum;
  bench.drive.temperature[1].nominal_ohm = 1000.0;
  bench.drive.dc_link_current.kind = plant::CurrentSensing::dc_link;
  bench.drive.phase_voltage = {.fitted = true, .ratio = 0.05};
  ScriptedController controller;
  std::map<std::string, double> volts;
  controller.at(20 * ms, [&](io::World& w, io::Time t) {
    for (std::uint16_t k = 0; k < io::channel_count; ++k)
      volts[std::string(io::name(io::ChannelId{k}))] = w.volts(io::ChannelId{k}, t);
  });
  KeepingSink sink;
  run(bench, turning(30 * ms), controller, sink);
  EXPECT_NEAR(volts["angle.sin"], 2.5 + 0.5 * std::sin(1.0), 1e-6);
  EXPECT_NEAR(volts["angle.cos"], 2.5 + 0.5 * std::cos(1.0), 1e-6);
  EXPECT_NEAR(volts["temperature.motor"], 3.401361, 1e-6);
  EXPECT_NEAR(volts["temperature.bridge"], 5.0 * 1097.347 / (1097.347 + 4700.0), 1e-6);
  EXPECT_NEAR(volts["dc_link_current"], 2.5, 1e-9);
  EXPECT_NEAR(volts["bus_voltage"], 2.4, 1e-6);
  const Frame& frame = sink.frames[399];  // of 20 ms
  EXPECT_EQ(frame.at_ps, 20 * ms);
  EXPECT_NEAR(volts["phase_voltage.U"],
              std::clamp(0.05 * static_cast<double>(
                                    frame.value[static_cast<std::size_t>(Signal::terminal_U)]),
                         0.0, 5.0),
              1e-5);
}

TEST(ChannelsAtTheConnector, NoiseFollowsTheScenariosSeed) {
  Bench bench = turning_bench(plant::AngleOutput::none);
  bench.drive.phase_current.noise_V = 5e-3;
  const auto read = [&](std::uint64_t seed) {
    double volts = 0.0;
    ScriptedController controller;
    controller.at(20 * ms, [&](io::World& w, io::Time t) {
      volts = w.volts(io::channel::phase_current_U, t);
    });
    KeepingSink sink;
    Scenario scenario = turning(30 * ms);
    scenario.seed = seed;
    run(bench, scenario, controller, sink);
    return volts;
  };
  EXPECT_EQ(read(1), read(1));
  EXPECT_NE(read(1), read(2));
  EXPECT_NEAR(read(1), 2.5, 0.03);  // six sigma
}

}  // namespace
}  // namespace stillrotor::test
