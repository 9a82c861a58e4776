// What firmware asks of its board comes out at the connector, at the right instant.
#include <gmock/gmock.h>

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include "io/hostfw/hostfw.hpp"
#include "tests/io/support/scripted_motor.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::microseconds;
using std::chrono::milliseconds;
using std::chrono::nanoseconds;

HostFirmwareConfig firmware(const std::string& name, bool in_process = false) {
  HostFirmwareConfig config;
  config.firmware = STILLROTOR_BUILD_DIR "/firmware/" + name + ".so";
  config.in_process = in_process;
  return config;
}

/// The number that the firmware told beside this word; the k-th time that it did.
double told(const ScriptedMotor& motor, const std::string& word, int k = 0) {
  std::string all;
  for (const Words& words : motor.words) all += words.text;
  for (std::size_t at = 0; at < all.size(); at = all.find('\n', at) + 1) {
    double value = 0.0;
    if (all.compare(at, word.size() + 1, word + ' ') == 0 && k-- == 0) {
      EXPECT_EQ(std::sscanf(all.c_str() + at + word.size(), "%lf", &value), 1);
      return value;
    }
  }
  return std::nan("");
}

std::vector<Time> edges_of(const ScriptedMotor& motor, LineId line, Level level) {
  std::vector<Time> times;
  for (const Edge& edge : motor.gate_edges)
    if (edge.line == line && edge.level == level) times.push_back(edge.at);
  return times;
}

class HostFirmware : public ::testing::TestWithParam<bool> {
 protected:
  ScriptedMotor motor{{.omega_m_rad_s = 25.0}};
  std::unique_ptr<SimulatedController> controller =
      make_host_firmware(firmware("test_probe", GetParam()));
};

TEST_P(HostFirmware, MakesCentreAlignedPwmWithDeadTimeFromDuties) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  // compute_s is 60 us: what reset() wrote acts from the second valley, 0.1 ms, on.
  const auto rise = edges_of(motor, line::gate_VH, Level::high);
  const auto fall = edges_of(motor, line::gate_VH, Level::low);
  ASSERT_GE(rise.size(), 3u);
  // Half a period on, in its middle, one dead time late.
  EXPECT_EQ(rise[0], microseconds(125 + 1));
  EXPECT_EQ(fall[1], microseconds(175));  // fall[0]: all off at the start
  const auto low_off = edges_of(motor, line::gate_VL, Level::low);
  EXPECT_EQ(low_off[1], microseconds(125));
}

TEST_P(HostFirmware, LetsDutiesActWhenTheProcessorWouldHaveWrittenThem) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  // Written in the valley at 0.5 ms, ready 60 us later: the valley at 0.6 ms is the first.
  std::vector<double> width_us;
  const auto rise = edges_of(motor, line::gate_UH, Level::high);
  auto fall = edges_of(motor, line::gate_UH, Level::low);
  fall.erase(fall.begin());
  for (std::size_t k = 0; k < std::min(rise.size(), fall.size()); ++k)
    width_us.push_back(1e-6 * static_cast<double>((fall[k] - rise[k]).count()));
  ASSERT_GE(width_us.size(), 7u);
  for (std::size_t k = 0; k < 5; ++k) EXPECT_NEAR(width_us[k], 24.0, 1e-9) << "pulse " << k;
  EXPECT_NEAR(width_us[5], 49.0, 1e-9);
  EXPECT_GT(rise[5], microseconds(600));
}

TEST_P(HostFirmware, ReadsSampledAndOtherChannelsAtTheInterruptsInstant) {
  motor.set_throttle(2.25);
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  EXPECT_DOUBLE_EQ(told(motor, "throttle"), 2.25);
  EXPECT_NEAR(told(motor, "current"), 2.5, 0.1);
  EXPECT_DOUBLE_EQ(told(motor, "crest"), 150e3);
}

TEST_P(HostFirmware, CallsTimersWhenDueAndNoMoreOnceTheyAreOff) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(3));
  EXPECT_DOUBLE_EQ(told(motor, "timer"), 3e9 + 500e3);
  EXPECT_TRUE(std::isnan(told(motor, "late timer")));
}

TEST_P(HostFirmware, TellsWatchedEdgesWithTheirTimeAndCountsTheEncoder) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(300));  // 25 rad/s: 7.5 rad, past the index once at least
  motor.set_line(line::key, Level::high);
  motor.run(*controller, milliseconds(301));
  EXPECT_DOUBLE_EQ(told(motor, "edge"), index(line::key) + 0.5);
  EXPECT_DOUBLE_EQ(told(motor, "at"), 300e6);
  EXPECT_NEAR(told(motor, "count"), 7.5 / (2.0 * M_PI) * 1024.0, 1.0);
  EXPECT_GE(told(motor, "index"), 1.0);
}

TEST_P(HostFirmware, DrivesOtherLinesByHandWhenAskedTo) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  const auto on = edges_of(motor, line::brake_chopper, Level::high);
  const auto off = edges_of(motor, line::brake_chopper, Level::low);
  ASSERT_EQ(on.size(), 1u);
  ASSERT_EQ(off.size(), 1u);
  EXPECT_EQ(on[0], microseconds(123));
  EXPECT_EQ(off[0], microseconds(223));
}

TEST_P(HostFirmware, StopsThePwmByHardwareWhenTheDriverReportsAFault) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  motor.set_line(line::driver_fault, Level::high);
  motor.run(*controller, milliseconds(2));
  EXPECT_TRUE(motor.all_gates(Level::low));
  for (const LineId gate : {line::gate_UH, line::gate_UL, line::gate_VH, line::gate_VL})
    EXPECT_LE(edges_of(motor, gate, Level::high).back(), milliseconds(1));
}

TEST_P(HostFirmware, StartsAfreshWithEachPowerUp) {
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(1));
  motor.power(*controller, 0.0);
  EXPECT_TRUE(motor.all_gates(Level::released));
  motor.run(*controller, milliseconds(2));
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(3));
  EXPECT_DOUBLE_EQ(told(motor, "resets", 0), 1.0);
  EXPECT_DOUBLE_EQ(told(motor, "resets", 1), 1.0);
}

INSTANTIATE_TEST_SUITE_P(In, HostFirmware, ::testing::Values(false, true), [](const auto& in) {
  return in.param ? "TheBenchsProcess" : "AProcessOfItsOwn";
});

TEST(HostFirmwareProcess, DrivesTheSameEdgesAsInTheBenchsProcess) {
  const auto edges = [](bool in_process) {
    ScriptedMotor motor({.omega_m_rad_s = 25.0,
                         .encoder_lines = 64,
                         .encoder_index_rad = M_PI / 6.0,
                         .resistance_ohm = 0.025,
                         .inductance_H = 200e-6,
                         .flux_linkage_Wb = 0.025,
                         .bus_V = 72.0,
                         .bus_ratio = 1.0 / 25.0,
                         .current_gain_V_per_A = 0.016});
    const auto controller = make_host_firmware(firmware("orchard_foc", in_process));
    motor.power(*controller, 5.0);
    motor.run(*controller, milliseconds(30));
    motor.set_line(line::key, Level::high);
    motor.run(*controller, milliseconds(50));
    motor.set_throttle(2.0);
    motor.run(*controller, milliseconds(150));
    EXPECT_EQ(controller->health(), Health::running) << controller->diagnosis();
    return motor.gate_edges;
  };
  const auto own = edges(false), shared = edges(true);
  ASSERT_GT(own.size(), 1000u);
  ASSERT_EQ(own.size(), shared.size());
  for (std::size_t k = 0; k < own.size(); ++k) {
    ASSERT_EQ(own[k].at, shared[k].at) << "edge " << k;
    ASSERT_EQ(own[k].line, shared[k].line) << "edge " << k;
  }
}

TEST(HostFirmwareInCpp, IsMadeAnewWithEachReset) {
  for (const bool in_process : {false, true}) {
    ScriptedMotor motor({.omega_m_rad_s = 25.0});
    const auto controller = make_host_firmware(firmware("test_class", in_process));
    for (const int start : {0, 1}) {
      motor.power(*controller, 5.0);
      motor.run(*controller, motor.now() + microseconds(3500));
      EXPECT_DOUBLE_EQ(told(motor, "ticks", start), 3.0);
      EXPECT_EQ(controller->health(), Health::running) << controller->diagnosis();
      motor.power(*controller, 0.0);
    }
  }
}

TEST(HostFirmwareInCpp, EndsWithAnExceptionThatNobodyCatches) {
  ScriptedMotor motor({});
  const auto controller = make_host_firmware(firmware("test_class"));
  motor.power(*controller, 5.0);
  motor.run(*controller, milliseconds(5));
  EXPECT_EQ(controller->health(), Health::crashed);
  EXPECT_THAT(std::string(controller->diagnosis()), ::testing::HasSubstr("called abort()"));
  EXPECT_THAT(std::string(controller->diagnosis()), ::testing::HasSubstr("out of ideas"));
}

TEST(HostFirmwareProcess, RefusesTwoOfTheSameInTheBenchsProcess) {
  const auto first = make_host_firmware(firmware("test_probe", true));
  EXPECT_THROW((void)make_host_firmware(firmware("test_probe", true)), ConfigError);
}

}  // namespace
}  // namespace stillrotor::io::test
