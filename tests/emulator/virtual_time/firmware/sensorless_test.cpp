// Our sensorless firmware on the small fan: what it finds by its comparator against what the plant
// knows. Beside it what must make it lose step.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

using Set = std::vector<std::string>;

Bench fan(const Set& set = {}) {
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-fan-sensorless.yaml", set,
                    STILLROTOR_BUILD_DIR);
}

double value(const Frame& frame, Signal signal) {
  return frame.value[static_cast<std::size_t>(signal)];
}
double rpm(const Frame& frame) { return value(frame, Signal::speed) * 30.0 / std::numbers::pi; }
double mean_rpm(const KeepingSink& sink, std::int64_t from_ps) {
  double sum = 0.0;
  int count = 0;
  for (const Frame& frame : sink.frames)
    if (frame.at_ps >= from_ps) sum += rpm(frame), ++count;
  return sum / count;
}
int times_said(const KeepingSink& sink, std::string_view words) {
  return static_cast<int>(std::count_if(
      sink.marks.begin(), sink.marks.end(),
      [&](const KeptMark& mark) { return mark.kind == MarkKind::text && mark.detail == words; }));
}

/// Electrical angle between two frames [deg].
double angle_deg(const KeepingSink& sink, std::int64_t at_ps) {
  const auto after =
      std::upper_bound(sink.frames.begin(), sink.frames.end(), at_ps,
                       [](std::int64_t t_ps, const Frame& frame) { return t_ps < frame.at_ps; });
  if (after == sink.frames.begin() || after == sink.frames.end()) return std::nan("");
  const auto before = std::prev(after);
  const double from = value(*before, Signal::angle_e);
  const double turn = std::remainder(value(*after, Signal::angle_e) - from, 2 * std::numbers::pi);
  const double share = static_cast<double>(at_ps - before->at_ps) /
                       static_cast<double>(after->at_ps - before->at_ps);
  return (from + share * turn) * 180.0 / std::numbers::pi;
}

/// How late [deg] the low switches come on. e_U falls through zero at 0 deg, so U is driven low
/// from 30 deg on, V from 150, W from 270 (docs/notation.md).
std::vector<double> lateness_deg(const KeepingSink& sink, std::int64_t from_ps) {
  constexpr std::array<std::pair<io::LineId, double>, 3> ideal = {
      {{io::line::gate_UL, 30.0}, {io::line::gate_VL, 150.0}, {io::line::gate_WL, 270.0}}};
  std::vector<double> late;
  for (const auto& [line, at_deg] : ideal)
    for (const LineEdge& edge : sink.edges_of(line))
      if (edge.level == 1 && edge.at_ps >= from_ps)
        if (const double deg = angle_deg(sink, edge.at_ps); std::isfinite(deg))
          late.push_back(std::remainder(deg - at_deg, 360.0));
  return late;
}

struct Blown {
  KeepingSink sink;
  double at_end_rpm = 0.0;
  double peak_A = 0.0;
  int lost = 0;
  bool gave_up = false;
};

Blown blow(const Set& set, double throttle_V, std::int64_t lasts_ps, double start_deg = 50.0,
           double start_rpm = 0.0) {
  Scenario scenario = drive_off(lasts_ps, throttle_V);
  scenario.timeline.front().at_ps = 50 * ms;  // once the firmware has seen it at rest
  const Bench bench = fan(set);
  scenario.start.angle_rad = start_deg / bench.drive.machine.pole_pairs * std::numbers::pi / 180.0;
  scenario.start.speed_rad_s = start_rpm * std::numbers::pi / 30.0;
  Blown blown;
  run(bench, scenario, blown.sink);
  blown.at_end_rpm = mean_rpm(blown.sink, lasts_ps - 200 * ms);
  for (const Frame& frame : blown.sink.frames)
    blown.peak_A = std::max(blown.peak_A, static_cast<double>(current_peak_A(frame)));
  blown.lost = times_said(blown.sink, "lost step");
  blown.gave_up = times_said(blown.sink, "gives up") == 1;
  return blown;
}

// The firmware turns 1.8 V of 1.1 V to 4.0 V into a duty of (40 + 0.24 * 190) / 255: 8.1 V of 24 V.
// The diode takes 0.5 V of it in off-times, 0.6 ohm 0.3 V (fan 0.037 N m, 0.5 A): 7.3 V at 8 V/krpm
// are 907 rpm. From 180 and 300 deg one of the two holds finds no torque.
TEST(Sensorless, StartsFromStandstillWhereverTheRotorRests) {
  for (const double start_deg : {0.0, 100.0, 180.0, 300.0}) {
    const Blown blown = blow({}, 1.8, 1500 * ms, start_deg);
    EXPECT_EQ(blown.lost, 0) << start_deg;
    EXPECT_NEAR(blown.at_end_rpm, 907.0, 45.0) << start_deg;
    EXPECT_LT(blown.peak_A, 8.0) << start_deg;
  }
}

// Ideal: half a step after the zero of the floating terminal's back-EMF. What may be late: a sample
// each 32 us, 1.9 deg at full speed, and the estimate of when the second of three was right.
TEST(Sensorless, CommutatesWithinTwoDegreesOfIdeal) {
  struct Speed {
    double throttle_V, rpm;
  };
  // By hand as above: 4.0 V - 0.8 V; 21.6 V - 1.8 V, from which commutating the current takes more.
  for (const Speed& speed : {Speed{1.15, 405.0}, Speed{4.2, 2475.0}}) {
    const Blown blown = blow({}, speed.throttle_V, 2000 * ms);
    EXPECT_EQ(blown.lost, 0);
    EXPECT_NEAR(blown.at_end_rpm, speed.rpm, 0.06 * speed.rpm);
    const std::vector<double> late = lateness_deg(blown.sink, 1700 * ms);
    EXPECT_GT(late.size(), 20U) << speed.throttle_V;
    for (const double deg : late) EXPECT_NEAR(deg, 0.0, 2.0) << speed.throttle_V;
  }
}

// The comparator decides with a band of 50 mV, 25 mV either way, ten times the usual: with 0.30 V
// at the pin per 30 deg (1/8, 900 rpm, two thirds of 3.6 V) that is 2.5 deg.
TEST(Sensorless, IsLateByTheComparatorsHysteresis) {
  const Blown blown = blow({"controller.comparator_hysteresis=50 mV"}, 1.8, 2000 * ms);
  const std::vector<double> late = lateness_deg(blown.sink, 1700 * ms);
  ASSERT_FALSE(late.empty());
  EXPECT_NEAR(std::reduce(late.begin(), late.end()) / static_cast<double>(late.size()), 2.5, 0.7);
}

TEST(Sensorless, WaitsForATurningFanToComeToRest) {
  const Blown blown = blow({}, 1.8, 2500 * ms, 0.0, -300.0);
  EXPECT_EQ(blown.lost, 0);
  EXPECT_LT(blown.peak_A, 8.0);
  EXPECT_NEAR(blown.at_end_rpm, 907.0, 45.0);
}

// What must make it lose step, and stop after three starts. A fan whose machine is wired rightly
// does none of it (above).
TEST(Sensorless, LosesStepWithTwoSenseLinesSwapped) {
  const Blown blown =
      blow({"harness.channels.phase_voltage.V=ADC2", "harness.channels.phase_voltage.W=ADC1"}, 1.8,
           2000 * ms);
  EXPECT_GE(blown.lost, 1);
  EXPECT_LT(blown.at_end_rpm, 400.0);  // it coasts, and waits for it to end
}

TEST(Sensorless, LosesStepWithTheComparatorsInputsExchanged) {
  const Blown blown = blow(
      {"controller.firmware=${build}/firmware/orchard_sensorless_inverted.elf"}, 1.8, 3500 * ms);
  EXPECT_EQ(blown.lost, 3);
  EXPECT_TRUE(blown.gave_up);
  EXPECT_LT(blown.at_end_rpm, 250.0);
}

TEST(Sensorless, LosesStepWhereTheFanIsStuck) {
  const Blown blown = blow({"load.coulomb_friction=2 Nm"}, 1.8, 3500 * ms);
  EXPECT_EQ(blown.lost, 3);
  EXPECT_TRUE(blown.gave_up);
}

// Coasting, nothing to wait for: the scheduler lets the chip run for as long as it likes. Its
// comparator's interrupt makes a pulse each time that e_U passes zero, at 0 and 180 deg, 100
// electrical turns a second and a little less for the drag. The band is 5 mV, the slope at the pin
// 0.5 V in 30 deg (1/8 of two thirds of 6 V): 0.15 deg late; handler and pulse take 1 us, 0.04 deg.
// Frames are 1.8 deg apart, and between them the speed is as good as constant.
TEST(AwaitedComparator, FollowsACoastingMachineThroughALongSilence) {
  Scenario scenario;
  scenario.lasts_ps = second;
  scenario.start.key = true;
  scenario.start.speed_rad_s = 50.0 * std::numbers::pi;  // 1500 rpm
  KeepingSink sink;
  run(fan({"controller.firmware=${build}/firmware/test_comparator_toggle.elf",
           "harness.channels.phase_voltage.U=AIN1", "harness.gates.VL=PD4",
           "load.inertia=1 kg m^2"}),
      scenario, sink);
  int zeros = 0;
  for (const LineEdge& edge : sink.edges_of(io::line::gate_VL)) {
    if (edge.level == 0 || edge.at_ps < ms) continue;
    const double deg = angle_deg(sink, edge.at_ps);
    if (!std::isfinite(deg)) continue;
    ++zeros;
    EXPECT_NEAR(std::remainder(deg, 180.0), 0.19, 0.1) << edge.at_ps;
  }
  EXPECT_NEAR(zeros, 199, 1);
}

// A look at the comparator is no reason for the plant to step otherwise.
TEST(Sensorless, DoesNotDependOnTheLookAhead) {
  KeepingSink usual, odd;
  Scenario scenario = drive_off(1200 * ms, 1.8);
  scenario.timeline.front().at_ps = 50 * ms;
  run(fan(), scenario, usual, 100 * us);
  run(fan(), scenario, odd, 37 * us + 1);
  ASSERT_GT(usual.edges.size(), 10'000U);
  ASSERT_EQ(usual.edges.size(), odd.edges.size());
  for (std::size_t k = 0; k < usual.edges.size(); ++k)
    ASSERT_EQ(usual.edges[k].at_ps, odd.edges[k].at_ps) << k;
}

}  // namespace
}  // namespace stillrotor::test
