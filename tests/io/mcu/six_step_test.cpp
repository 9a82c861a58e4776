// The orchard cart's six-step firmware, executed, against a scripted motor: what its README
// promises.
#include <gmock/gmock.h>

#include <cmath>
#include <map>

#include "tests/io/mcu/chip.hpp"
#include "tests/io/support/contract_check.hpp"

namespace stillrotor::io::test {
namespace {

using std::chrono::microseconds;
using std::chrono::milliseconds;
using ::testing::Each;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr double pi = 3.14159265358979323846;

McuConfig orchard(const std::string& firmware = "orchard_six_step") {
  McuConfig config = usual_wiring("port_loop");
  config.firmware = firmware_file(firmware);
  config.line_pins[index(line::brake)] = "PD7";
  config.adc_pins[index(channel::phase_current_V)] = "ADC6";
  config.adc_pins[index(channel::phase_current_W)] = "ADC7";
  config.adc_pins[index(channel::bus_voltage)] = "ADC5";
  return config;
}

/// 12 electrical turns a second; the back-EMF is far below the bus.
constexpr MotorScript turning = {.omega_m_rad_s = 12.0 * 2.0 * pi / 4.0};

struct Drive {
  explicit Drive(const MotorScript& script = turning,
                 const std::string& firmware = "orchard_six_step")
      : motor(script), controller(make_mcu(orchard(firmware))) {
    motor.power(*controller, 5.0);
  }
  void run(Time until) { motor.run(*controller, until); }
  /// Powered, throttle at rest, ready, then 2.2 V and 400 ms to spin up.
  void start() {
    run(milliseconds(20));
    motor.set_throttle(2.2);
    run(milliseconds(300));
  }
  bool high(LineId gate) const { return motor.gate(gate); }

  ScriptedMotor motor;
  std::unique_ptr<SimulatedController> controller;
};

class SixStep : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

TEST_F(SixStep, SaysReadyOnceTheThrottleIsAtRest) {
  Drive drive;
  drive.run(milliseconds(20));
  EXPECT_TRUE(drive.motor.spoke("ready"));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
}

TEST_F(SixStep, DoesNotStartWithTheThrottleOpen) {
  Drive drive;
  drive.motor.set_throttle(2.5);
  drive.run(milliseconds(300));
  EXPECT_TRUE(drive.motor.spoke("throttle open at start"));
  EXPECT_FALSE(drive.motor.spoke("ready"));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
  drive.motor.set_throttle(0.85);
  drive.run(milliseconds(320));
  EXPECT_TRUE(drive.motor.spoke("ready"));
  drive.motor.set_throttle(2.5);
  drive.run(milliseconds(420));
  EXPECT_FALSE(drive.motor.all_gates(Level::low)) << "the control: it drives after a rest";
}

// Torque is largest when current enters the phase whose back-EMF is most positive and leaves the
// one whose is most negative: with e = -omega psi sin(theta - k 120 deg), + on phase k around -90
// deg of its own angle. So for sectors of 60 deg from -30 deg on: VW, VU, WU, WV, UV, UW.
TEST_F(SixStep, CommutatesAllSixSectorsForForwardTorque) {
  Drive drive;
  drive.start();
  std::map<int, std::map<std::string, int>> seen;  // by sector: pair of switches
  drive.motor.probe = [&] {
    const double angle = drive.motor.theta_e_rad(drive.motor.now()) * 180.0 / pi;
    const double in_sector = std::fmod(angle + 30.0, 60.0);
    if (in_sector < 2.0) return;  // latency of the commutation: 12 turns a second, 0.46 ms
    std::string pair;
    const std::array<LineId, 3> highs = {line::gate_UH, line::gate_VH, line::gate_WH};
    const std::array<LineId, 3> lows = {line::gate_UL, line::gate_VL, line::gate_WL};
    for (std::size_t k = 0; k < 3; ++k)
      if (drive.high(highs[k])) pair += "UVW"[k];
    if (pair.empty()) return;  // the PWM's off time
    for (std::size_t k = 0; k < 3; ++k)
      if (drive.high(lows[k])) pair += "UVW"[k];
    ++seen[static_cast<int>(std::floor((angle + 30.0) / 60.0)) % 6][pair];
  };
  drive.run(milliseconds(600));
  const std::array expected = {"VW", "VU", "WU", "WV", "UV", "UW"};
  ASSERT_THAT(seen, SizeIs(6));
  for (int sector = 0; sector < 6; ++sector) {
    EXPECT_THAT(seen[sector], SizeIs(1)) << "sector " << sector;
    EXPECT_GT(seen[sector][expected[static_cast<std::size_t>(sector)]], 50)
        << "sector " << sector << " is not driven by "
        << expected[static_cast<std::size_t>(sector)];
  }
}

double mean_iq_A(Drive& drive) {
  double sum = 0.0;
  int count = 0;
  drive.motor.probe = [&] {
    sum += drive.motor.currents_dq_A()[1];
    ++count;
  };
  drive.run(drive.motor.now() + milliseconds(250));  // three electrical turns
  drive.motor.probe = nullptr;
  return sum / count;
}

TEST_F(SixStep, DrivesForwardAndTheWrongHallTableBackward) {
  Drive right, wrong(turning, "orchard_six_step_wrong_hall");
  right.start();
  wrong.start();
  EXPECT_GT(mean_iq_A(right), 2.0);
  EXPECT_LT(mean_iq_A(wrong), -2.0);
}

// Six switches by pairs: both of a leg are never on, and after a low switch went off nothing goes
// on for the dead time of 1.5 us (the firmware's delay), with the few cycles around it: 1.5 to 3
// us.
TEST_F(SixStep, KeepsTheDeadTimeAtEachCommutationAndNeverShootsThrough) {
  Drive drive;
  drive.start();
  drive.run(milliseconds(800));
  std::array<bool, gate_count> on{};
  Time low_off{};
  std::vector<double> dead_us;
  for (const Edge& edge : drive.motor.gate_edges) {
    const bool now = edge.level == Level::high;
    const std::size_t gate = index(edge.line);
    if (on[gate] && !now && gate % 2 == 1) low_off = edge.at;
    if (!on[gate] && now && gate % 2 == 1 && low_off > Time{})
      dead_us.push_back(1e-6 * static_cast<double>((edge.at - low_off).count()));
    on[gate] = now;
    for (std::size_t leg = 0; leg < 3; ++leg)
      ASSERT_FALSE(on[2 * leg] && on[2 * leg + 1])
          << "shoot-through at " << edge.at.count() << " ps";
  }
  ASSERT_GT(dead_us.size(), 20u);
  EXPECT_THAT(dead_us, Each(::testing::AllOf(::testing::Ge(1.5), ::testing::Le(3.0))));
}

// 16 MHz / 8 / 256 = 7812.5 Hz: 128 us exactly.
TEST_F(SixStep, SwitchesAtSevenPointEightKilohertz) {
  Drive drive({.omega_m_rad_s = 0.0});
  drive.start();
  std::vector<Time> rises;
  for (const Edge& edge : drive.motor.gate_edges)
    if (edge.line == line::gate_VH && edge.level == Level::high) rises.push_back(edge.at);
  ASSERT_GT(rises.size(), 1000u);
  for (std::size_t k = 3; k < rises.size(); ++k)
    ASSERT_EQ(rises[k] - rises[k - 1], microseconds(128)) << "period " << k;
}

// Wire break on one Hall with its pull-up: it reads high, and 111 comes within 300 electrical
// degrees.
TEST_F(SixStep, TurnsAllGatesOffAtAnInvalidHallCodeAndStaysOff) {
  for (const Level broken : {Level::high, Level::low}) {
    Drive drive;
    drive.start();
    for (const auto id : {line::hall_U, line::hall_V, line::hall_W})
      drive.motor.set_line(id, broken);
    const Time invalid = drive.motor.now();
    drive.run(drive.motor.now() + milliseconds(50));
    EXPECT_TRUE(drive.motor.all_gates(Level::low));
    EXPECT_TRUE(drive.motor.spoke("hall invalid"));
    Time last_edge{};
    for (const Edge& edge : drive.motor.gate_edges) last_edge = std::max(last_edge, edge.at);
    EXPECT_LT(last_edge - invalid, microseconds(20)) << "interrupt, prologue and two port writes";
    for (const auto id : {line::hall_U, line::hall_V, line::hall_W}) drive.motor.free_line(id);
    drive.run(drive.motor.now() + milliseconds(200));
    EXPECT_TRUE(drive.motor.all_gates(Level::low)) << "latched while the throttle is open";
    drive.motor.set_throttle(0.85);
    drive.run(drive.motor.now() + milliseconds(20));
    drive.motor.set_throttle(2.2);
    drive.run(drive.motor.now() + milliseconds(200));
    EXPECT_FALSE(drive.motor.all_gates(Level::low)) << "the control: it drives after a rest";
  }
}

TEST_F(SixStep, StopsOnABrokenThrottleWireEitherWay) {
  for (const double volts : {0.0, 5.0}) {
    Drive drive;
    drive.start();
    ASSERT_FALSE(drive.motor.all_gates(Level::low));
    drive.motor.set_throttle(volts);
    drive.run(drive.motor.now() + milliseconds(2));
    EXPECT_TRUE(drive.motor.all_gates(Level::low)) << volts << " V";
    drive.run(drive.motor.now() + milliseconds(20));
    EXPECT_TRUE(drive.motor.spoke("throttle wire"));
  }
}

TEST_F(SixStep, ReleasesTheMotorWithinAMillisecondOfTheBrakeAndComesBack) {
  Drive drive;
  drive.start();
  drive.motor.set_line(line::brake, Level::high);
  drive.run(drive.motor.now() + milliseconds(1));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
  drive.motor.set_line(line::brake, Level::low);
  drive.run(drive.motor.now() + milliseconds(200));
  EXPECT_FALSE(drive.motor.all_gates(Level::low));
}

// At standstill 48 V * duty / (2 * 50 mohm): 40 A at 8 % already. The limiter holds it.
TEST_F(SixStep, LimitsTheCurrentOfAStalledMotor) {
  Drive drive({.omega_m_rad_s = 0.0});
  drive.run(milliseconds(20));
  drive.motor.set_throttle(4.2);
  double peak = 0.0;
  drive.motor.probe = [&] {
    for (const double i : drive.motor.currents_A()) peak = std::max(peak, std::abs(i));
  };
  drive.run(milliseconds(600));
  EXPECT_FALSE(drive.motor.spoke("over-current"));
  EXPECT_GT(peak, 35.0);
  EXPECT_LT(peak, 55.0);
  EXPECT_FALSE(drive.motor.all_gates(Level::low));
}

// A shorted winding: 48 V * 1 us / (2 * 0.6 uH) = 40 A in the very first pulses. The limiter is too
// slow for that, the trip is not, and it stays tripped until the throttle is back at rest.
TEST_F(SixStep, TripsOnOverCurrentAndStaysOffUntilTheThrottleRests) {
  Drive drive({.omega_m_rad_s = 0.0, .resistance_ohm = 0.002, .inductance_H = 0.6e-6});
  drive.run(milliseconds(20));
  drive.motor.set_throttle(4.2);
  drive.run(milliseconds(600));
  EXPECT_TRUE(drive.motor.spoke("over-current"));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
  const std::size_t edges = drive.motor.gate_edges.size();
  drive.run(milliseconds(800));
  EXPECT_EQ(drive.motor.gate_edges.size(), edges) << "the throttle is still open";
  drive.motor.set_throttle(0.85);
  drive.run(milliseconds(850));
  drive.motor.set_throttle(2.2);
  drive.run(milliseconds(1000));
  EXPECT_GT(drive.motor.gate_edges.size(), edges);
}

TEST_F(SixStep, RefusesAnImplausibleZeroCurrentOffset) {
  Drive drive({.omega_m_rad_s = 0.0, .current_offset_V = 1.65});
  drive.run(milliseconds(20));
  drive.motor.set_throttle(2.2);
  drive.run(milliseconds(200));
  EXPECT_TRUE(drive.motor.spoke("current offset"));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
}

TEST_F(SixStep, StopsWhenTheBusIsLow) {
  Drive drive({.omega_m_rad_s = 0.0, .bus_V = 25.0});
  drive.run(milliseconds(20));
  drive.motor.set_throttle(2.2);
  drive.run(milliseconds(200));
  EXPECT_TRUE(drive.motor.spoke("bus voltage low"));
  EXPECT_TRUE(drive.motor.all_gates(Level::low));
}

TEST_F(SixStep, RunsTheSameToTheBitTwiceAndWhateverTheHorizons) {
  const auto record = [](Time look_ahead) {
    Drive drive;
    drive.motor.look_ahead = look_ahead;
    drive.start();
    return std::pair{drive.motor.gate_edges, drive.motor.words};
  };
  const auto first = record(microseconds(100));
  for (const Time look_ahead : {Time{microseconds(100)}, Time{microseconds(13)}}) {
    const auto again = record(look_ahead);
    ASSERT_EQ(again.first.size(), first.first.size());
    for (std::size_t k = 0; k < first.first.size(); ++k) {
      ASSERT_EQ(again.first[k].at, first.first[k].at) << "edge " << k;
      ASSERT_EQ(again.first[k].line, first.first[k].line) << "edge " << k;
      ASSERT_EQ(again.first[k].level, first.first[k].level) << "edge " << k;
    }
    ASSERT_EQ(again.second.size(), first.second.size());
    for (std::size_t k = 0; k < first.second.size(); ++k)
      EXPECT_EQ(again.second[k].at, first.second[k].at);
  }
}

// The longest step of the part: a 4-cycle instruction and the entry of an interrupt out of sleep.
TEST_F(SixStep, KeepsTheControllersContract) {
  Drive drive;
  drive.start();
  EXPECT_THAT(broken_rules(drive.motor, *drive.controller, at_cycle(12)), IsEmpty());
}

}  // namespace
}  // namespace stillrotor::io::test
