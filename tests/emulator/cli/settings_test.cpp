// Settings of firmware as axes of a bench: what is written, read back and refused; what wrong ones
// do to the drive; and what our own learning routine says beside what the plant has.
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/input_error.hpp"
#include "tests/emulator/cli/program_runner.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using Words = std::vector<std::string>;
constexpr double pi = std::numbers::pi;

const std::string benches = STILLROTOR_SOURCE_DIR "/configs/benches/";
const std::string scenarios = STILLROTOR_SOURCE_DIR "/configs/scenarios/";
const std::string firmware = STILLROTOR_BUILD_DIR "/firmware/";

Words set(const Words& settings) {
  Words overrides;
  for (const std::string& one : settings) overrides.push_back("controller.settings." + one);
  return overrides;
}

Bench loaded(const std::string& bench, Words overrides) {
  if (bench.find("hub") == bench.npos) overrides.emplace_back("controller.in_process=on");
  return load_bench(benches + bench, overrides, STILLROTOR_BUILD_DIR);
}

struct Ran {
  KeepingSink sink;

  std::vector<double> values(Signal signal, double from_s, double to_s) const {
    std::vector<double> found;
    for (const Frame& frame : sink.frames)
      if (frame.at_ps > std::llround(1e12 * from_s) && frame.at_ps <= std::llround(1e12 * to_s))
        found.push_back(static_cast<double>(frame.value[static_cast<std::size_t>(signal)]));
    return found;
  }
  double mean(Signal signal, double from_s, double to_s) const {
    double sum = 0.0;
    const auto all = values(signal, from_s, to_s);
    for (const double value : all) sum += value;
    return sum / static_cast<double>(all.size());
  }
  bool said(std::string_view line) const {
    for (const KeptMark& mark : sink.marks)
      if (mark.kind == MarkKind::text && mark.detail == line) return true;
    return false;
  }
  /// Of "name 12.3 unit"; NaN: it was not said.
  double said_number(const std::string& name) const {
    for (const KeptMark& mark : sink.marks)
      if (mark.kind == MarkKind::text && mark.detail.starts_with(name + " "))
        return std::stod(mark.detail.substr(name.size() + 1));
    return std::nan("");
  }
};

Ran run(const Bench& bench, const Scenario& scenario) {
  Ran ran;
  const auto controller = io::make_controller(bench.controller);
  run_virtual(bench, scenario, *controller, ran.sink);
  return ran;
}

/// The mid machine's cart on the flat, 28 A asked for from 0.2 s on.
Ran drive(const Words& settings, std::int64_t lasts_ps = 1200 * ms) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = {action(200 * ms, ActionKind::throttle, 2.115)};
  return run(loaded("orchard-cart-mid-hostfw.yaml", set(settings)), scenario);
}

class SettingsRun : public ProgramTest {
 protected:
  Answer call_with(const std::string& bench, const Words& overrides, const std::string& out) {
    Words arguments{"run", benches + bench, scenario("20 ms"), "--out", out};
    for (const std::string& one : overrides) arguments.insert(arguments.end(), {"--set", one});
    return call(arguments);
  }
  nlohmann::json result(const std::string& folder) {
    return nlohmann::json::parse(read_text(path(folder + "/result.json")));
  }
};

bool has_mcu() { return fs::exists(firmware + "orchard_six_step.elf"); }

TEST_F(SettingsRun, AreReadBackIntoTheResultWithTheirSum) {
  ASSERT_EQ(call_with("orchard-cart-mid-hostfw.yaml", {}, "own").status, 0);
  const Answer answer = call_with("orchard-cart-mid-hostfw.yaml",
                                  set({"pole_pairs=5", "current_gain=0.02 V/A"}), "other");
  ASSERT_EQ(answer.status, 0) << answer.err;
  const auto own = result("own"), other = result("other");
  for (const auto& one : other.at("settings")) {
    const bool written = one.at("name") == "pole_pairs" || one.at("name") == "current_gain";
    EXPECT_EQ(one.at("by"), written ? "bench" : "firmware") << one;
    if (one.at("name") == "pole_pairs") {
      EXPECT_EQ(one.at("value"), 5);
    }
    if (one.at("name") == "current_gain") {
      EXPECT_EQ(one.at("value"), 0.02);
    }
  }
  for (const auto& one : own.at("settings"))
    if (one.at("name") == "pole_pairs") {
      EXPECT_EQ(one.at("value"), 4);
    }
  EXPECT_EQ(own.at("settings_sha256").get<std::string>().size(), 64U);
  EXPECT_NE(own.at("settings_sha256"), other.at("settings_sha256"));
  // The resolved bench is the same bench.
  ASSERT_EQ(
      call({"run", path("other/bench.yaml").string(), scenario("20 ms"), "--out", "again"}).status,
      0);
  EXPECT_EQ(result("again").at("settings_sha256"), other.at("settings_sha256"));
}

TEST_F(SettingsRun, ThatTheFirmwareDoesNotTakeAreRefused) {
  struct Case {
    std::string bench;
    Words overrides;
    std::string says;
  };
  std::vector<Case> cases{
      {"orchard-cart-mid-hostfw.yaml", set({"pole_pair=4"}),
       "controller.settings.pole_pair is no setting of this firmware; it has pole_pairs, "},
      {"orchard-cart-mid-hostfw.yaml", set({"pole_pairs=33"}), "allows 1 to 32, whole"},
      {"orchard-cart-mid-hostfw.yaml", set({"pole_pairs=4.5"}), "pole_pairs is 4.5"},
      {"orchard-cart-mid-hostfw.yaml", set({"current_gain=16 mV/A"}), "counts it in V/A"},
      {"orchard-cart-mid-hostfw.yaml", set({"current_gain=much"}), "is \"much\"; allowed a number"},
      {"orchard-cart-mid-hostfw.yaml",
       {"controller.settings=pole_pairs: 4, pole_pairs: 5"},
       "given twice"},
      {"orchard-cart-mid-hostfw.yaml", {"controller.settings=pole_pairs"}, "allowed a number"},
      {"orchard-cart-hub-stand-in.yaml", set({"pole_pairs=4"}), "does not apply to backend"},
      {"orchard-cart-mid-hostfw.yaml",
       {"controller.firmware=" + firmware + "test_misdeeds.so", "controller.settings.read_only=1"},
       "while its settings were read and written"}};
  if (has_mcu()) {
    cases.push_back({"orchard-cart-hub.yaml", set({"hall_order=256"}), "allows 0 to 255, whole"});
    cases.push_back({"orchard-cart-hub.yaml", set({"poles=4"}), "it has hall_"});
    cases.push_back({"orchard-cart-hub.yaml",
                     {"controller.firmware=" + firmware + "orchard_six_step.hex",
                      "controller.settings.hall_order=1"},
                     "it declares none"});
  }
  for (const Case& one : cases) {
    const Answer answer = call_with(one.bench, one.overrides, "refused");
    EXPECT_EQ(answer.status, 2) << one.says;
    EXPECT_NE(answer.err.find(one.says), std::string::npos) << one.says << "\n" << answer.err;
    EXPECT_FALSE(fs::exists(path("refused"))) << one.says;
  }
}

TEST_F(SettingsRun, ThatTheFirmwareReplacesAtResetEndTheRun) {
  const Answer answer = call_with(
      "orchard-cart-mid-hostfw.yaml",
      {"controller.firmware=" + firmware + "test_misdeeds.so", "controller.settings.replaced=7"},
      "replaced");
  EXPECT_EQ(answer.status, 2);
  EXPECT_NE(answer.err.find("was written as 7, and the firmware holds 2"), std::string::npos)
      << answer.err;
}

// Even orders turn the commutation by 120 degrees, odd ones mirror it. The same order of phases and
// Halls: forward, or mirrored, reverse. Others of the same parity: 120 degrees off, cos 120 deg =
// -1/2. Of unlike parity: the field turns against the rotor, no mean. The winding's resistance is
// raised so that the back-EMF of 10 rpm (1.2 V of 22 V) leaves the current nearly as it is;
// tolerance: its share, and the chopping's.
TEST(WrongSettings, SixBySixOrdersOfPhasesAndHallsAtAHeldSpeed) {
  if (!has_mcu()) GTEST_SKIP() << "no firmware was built: avr-gcc is not installed";
  Scenario scenario;
  scenario.lasts_ps = 620 * ms;
  scenario.start.key = true;
  scenario.start.speed_rad_s = 10.0 * 2.0 * pi / 60.0;  // 20 pole pairs: 0.3 s a turn
  scenario.timeline = {action(10 * ms, ActionKind::throttle, 2.6)};
  double mean[6][6];
  for (int phases = 0; phases < 6; ++phases)
    for (int halls = 0; halls < 6; ++halls) {
      Words overrides =
          set({"phase_order=" + std::to_string(phases), "hall_order=" + std::to_string(halls)});
      overrides.emplace_back("machine.winding_resistance=1 ohm");
      mean[phases][halls] = run(loaded("dynamometer-hub.yaml", overrides), scenario)
                                .mean(Signal::torque_mean, 0.3, 0.6);
    }
  const double full = mean[0][0];
  EXPECT_GT(full, 4.0);
  int forward = 0, reverse = 0, half = 0, none = 0;
  for (int phases = 0; phases < 6; ++phases)
    for (int halls = 0; halls < 6; ++halls) {
      const double share = mean[phases][halls] / full;
      const bool mirrored = phases > 2, alike = mirrored == (halls > 2);
      const double expected = !alike            ? 0.0
                              : phases == halls ? (mirrored ? -1.0 : 1.0)
                                                : (mirrored ? 0.5 : -0.5);
      EXPECT_NEAR(share, expected, 0.2) << phases << " " << halls;
      forward += share > 0.8;
      reverse += share < -0.8;
      half += std::fabs(share) > 0.3 && std::fabs(share) < 0.7;
      none += std::fabs(share) < 0.2;
    }
  EXPECT_EQ(forward, 3);
  EXPECT_EQ(reverse, 3);
  EXPECT_EQ(half, 12);
  EXPECT_EQ(none, 18);
}

// 28 A on the angle of most torque, turned by the offset: T = 1.5 p (psi - (L_q - L_d) i_d) i_q.
TEST(WrongSettings, AnAngleOffsetTakesTorqueByItsCosineAndBeyondNinetyDegreesTurnsItRound) {
  constexpr double length_A = 0.35 * 80.0, psi = 25e-3, more_H = 100e-6;
  const double a = psi / (4.0 * more_H);
  const double best_d = a - std::sqrt(a * a + 0.5 * length_A * length_A);
  const double lead = std::atan2(best_d, std::sqrt(length_A * length_A - best_d * best_d));
  for (const int offset_deg : {0, 30, 60, -60, 120, -150, 180}) {
    const Ran ran = drive({"angle_offset=" + std::to_string(offset_deg)});
    const double turned = offset_deg * pi / 180.0 - lead;
    const double d = -length_A * std::sin(turned), q = length_A * std::cos(turned);
    EXPECT_NEAR(ran.mean(Signal::torque_mean, 0.9, 1.1), 6.0 * (psi - more_H * d) * q, 0.3)
        << offset_deg;
    // Forward is asked for: beyond 90 degrees it runs away backward, ever faster.
    const double early = ran.mean(Signal::speed, 0.6, 0.7),
                 late = ran.mean(Signal::speed, 1.1, 1.2);
    if (std::abs(offset_deg) > 90) {
      EXPECT_LT(late, early - 0.5) << offset_deg;
    }
  }
}

TEST(WrongSettings, StopTheDriveWhereItsSensorsContradictOneAnother) {
  for (const char* one :
       {"pole_pairs=5", "pole_pairs=2", "encoder_lines=32", "encoder_lines=128",
        "encoder_direction=-1", "hall_order=1", "hall_order=3", "hall_spacing=60", "index=75"}) {
    const Ran ran = drive({one}, 3 * second);
    EXPECT_TRUE(ran.said("rotor position")) << one;
    EXPECT_NEAR(ran.mean(Signal::torque_mean, 2.9, 3.0), 0.0, 0.05) << one;
  }
  const Ran right = drive({"pole_pairs=4"}, 3 * second);
  EXPECT_FALSE(right.said("rotor position"));
  EXPECT_GT(right.mean(Signal::torque_mean, 2.9, 3.0), 4.0);
}

TEST(WrongSettings, OfTheCurrentSensorsScaleTheTorqueOrEndIt) {
  const double right = drive({}).mean(Signal::torque_mean, 0.9, 1.1);
  // Twice the volts per ampere: it sees half of what flows, and 56 A flow where 28 A were asked
  // for. By the formula above 2.025 times the torque, reluctance included.
  EXPECT_NEAR(drive({"current_gain=0.032"}).mean(Signal::torque_mean, 0.9, 1.1) / right, 2.025,
              0.02);
  // The other sign turns control into the opposite.
  EXPECT_TRUE(drive({"current_gain=-0.016"}).said("over-current"));
  // 50 mV that it does not measure are 3.1 A on alpha, which the current loop makes real: torque
  // swings once an electrical turn by 1.5 p psi times that, 0.47 N m. Some of it is the ripple of
  // before.
  const auto swing = [](const Ran& ran) {
    const auto all = ran.values(Signal::torque_mean, 0.8, 1.2);
    const auto [least, most] = std::minmax_element(all.begin(), all.end());
    return 0.5 * (*most - *least);
  };
  EXPECT_LT(swing(drive({})), 0.15);
  EXPECT_NEAR(swing(drive({"measures_zero=0", "current_zero=2.55"})), 0.47, 0.12);
}

// The rotor on a fixed vector is a pendulum: J p d2(theta_m) = -1.5 p psi i sin(p theta_m), so it
// swings at sqrt(1.5 p^2 psi i / J). No saliency, which would bend the spring; J 0.004 kg m^2, 30
// A: 67.1 rad/s. Tolerance: the current loop gives way a little to the back-EMF; damping and an
// amplitude of ten electrical degrees.
TEST(Commissioning, TheRotorSwingsOnAFixedVectorAtItsNaturalFrequency) {
  Words overrides = set({"learns=0"});
  overrides.insert(overrides.end(), {"controller.firmware=" + firmware + "orchard_foc_align.so",
                                     "machine.inductance_q=150 uH", "load.coulomb_friction=0 N m"});
  Scenario scenario;
  scenario.lasts_ps = 1000 * ms;
  scenario.start.key = true;
  scenario.start.angle_rad = 25.0 * pi / 180.0 / 4.0;
  scenario.timeline = {action(100 * ms, ActionKind::throttle, 1.4)};
  const Ran ran = run(loaded("free-mid.yaml", overrides), scenario);
  // The current is whole from 0.5 s to 0.9 s.
  const auto speed = ran.values(Signal::speed, 0.52, 0.88);
  std::vector<double> up;
  for (std::size_t k = 1; k < speed.size(); ++k)
    if (speed[k - 1] < 0.0 && speed[k] >= 0.0)
      up.push_back(static_cast<double>(k) - speed[k] / (speed[k] - speed[k - 1]));
  ASSERT_GE(up.size(), 3U);
  const double period_s = (up.back() - up.front()) / static_cast<double>(up.size() - 1) / 16e3;
  EXPECT_NEAR(2.0 * pi / period_s, std::sqrt(1.5 * 16.0 * 25e-3 * 30.0 / 4e-3), 1.4);
}

// The bands are what the routine reaches, a few percent; the plant has the last word.
TEST(Commissioning, WhatTheFirmwareLearnsIsWhatThePlantHas) {
  struct Case {
    Words overrides;
    double resistance_mohm, d_uH, q_uH, flux_mWb, pole_pairs, counts, index_deg, order, inverted,
        spacing;
  };
  const std::vector<Case> cases{
      {{}, 28.0, 150.0, 250.0, 25.0, 4, 256, 30.0, 0, 0, 120},
      {{"machine.winding_resistance=60 mohm", "machine.inductance_d=300 uH",
        "machine.inductance_q=350 uH", "machine.flux_linkage=30 mWb", "machine.pole_pairs=3",
        "sensors.encoder.lines=100", "sensors.encoder.direction=reversed",
        "sensors.encoder.index=50 deg", "harness.hall.active=low"},
       63.0,
       300.0,
       350.0,
       30.0,
       3,
       -400,
       50.0,
       0,
       1,
       120},
      {{"sensors.hall.spacing=60 deg", "machine.pole_pairs=5", "sensors.encoder.index=-20 deg"},
       28.0,
       150.0,
       250.0,
       25.0,
       5,
       256,
       52.0,
       0,
       0,
       60}};
  for (const Case& one : cases) {
    Scenario scenario;
    scenario.lasts_ps = 14 * second;
    scenario.start.key = true;
    const Ran ran = run(loaded("free-mid.yaml", one.overrides), scenario);
    const auto expect = [&](const char* name, double truth, double within) {
      EXPECT_NEAR(ran.said_number(name), truth, within) << name << " of case " << &one - &cases[0];
    };
    expect("resistance", one.resistance_mohm, 0.03 * one.resistance_mohm);
    expect("inductance_d", one.d_uH, 0.02 * one.d_uH);
    expect("inductance_q", one.q_uH, 0.02 * one.q_uH);
    expect("flux", one.flux_mWb, 0.04 * one.flux_mWb);
    expect("pole_pairs", one.pole_pairs, 0.0);
    expect("encoder_counts", one.counts, 0.0);
    expect("index", one.index_deg, 1.0);
    expect("hall_order", one.order, 0.0);
    expect("hall_inverted", one.inverted, 0.0);
    expect("hall_spacing", one.spacing, 0.0);
    EXPECT_TRUE(ran.said("learnt"));
  }
}

}  // namespace
}  // namespace stillrotor::test
