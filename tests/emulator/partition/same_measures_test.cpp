// The same control algorithm, our own field-oriented firmware in C, on the middle bench: through
// the whole plant in virtual time, and through link and co-processor with the mirror behind them.
// What the judge measures is the same.
#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "emulator/judge/judge.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/virtual_time/virtual_run.hpp"
#include "io/backends.hpp"
#include "tests/emulator/partition/partitioned_run.hpp"
#include "tests/emulator/record/scratch_folder.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor {
namespace {

using test::ms;
using test::PartitionedOptions;
using test::PartitionedOutcome;

Bench mid(const std::vector<std::string>& more = {}) {
  std::vector<std::string> overrides{"controller.in_process=on"};
  overrides.insert(overrides.end(), more.begin(), more.end());
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid-hostfw.yaml",
                    overrides, STILLROTOR_BUILD_DIR);
}

/// From rest to 62 rad/s, a load on the way, the key off at full torque.
Scenario drive() {
  Scenario s;
  s.lasts_ps = 3100 * ms;
  s.start.key = true;
  s.timeline = {test::action(400 * ms, ActionKind::throttle, 2.4, 50 * ms),
                test::action(1800 * ms, ActionKind::load_torque, 3.0),
                test::action(3000 * ms, ActionKind::key, 0.0)};
  return s;
}

class Recorded {
 public:
  /// Makes it: run(controller, sink).
  template <class Run>
  Recorded(const Bench& bench, const Scenario& scenario, Run&& run) {
    Recorder recorder(
        folder_.path(),
        {"mid", "drive", "virtual", bench.record_rate_Hz, bench.drive.pole_pairs(), {}});
    run(*io::make_controller(bench.controller), recorder);
    recorder.finish(scenario.lasts_ps);
  }
  Measurement measure(std::string_view name, const Window& window) const {
    return stillrotor::measure(RecordReader(folder_.path()), name, "", window);
  }

 private:
  testing::ScratchFolder folder_;
};

Recorded whole(const Bench& bench) {
  const Scenario scenario = drive();
  return {bench, scenario, [&](io::SimulatedController& tested, RunSink& sink) {
            run_virtual(bench, scenario, tested, sink);
          }};
}
Recorded in_parts(const Bench& bench, PartitionedOutcome& out) {
  const Scenario scenario = drive();
  return {bench, scenario, [&](io::SimulatedController& tested, RunSink& sink) {
            out = test::run_partitioned(bench, scenario, tested, sink);
          }};
}

// As in beside_whole_plant_test.cpp: half a code, the chip's 0.1 % of 80 A, 2 us of the slope in
// the zero vector at 62 rad/s, (248 * 25 mWb + 28 mohm * 37 A) / 150 uH.
constexpr double off_A = 0.038 + 0.08 + 0.096;
constexpr double per_A = 5.43 / 36.2, mean_Nm = 5.43;  // N m of an ampere; of the throttle
constexpr double inertia_kg_m2 = 0.004 + 180.0 * 0.2 * 0.2 / 64.0;
constexpr double off_Nm = off_A * per_A;

struct Tolerance {
  std::string_view measure;
  double most;  // on top of what the measures themselves say
};
const Tolerance tolerances[] = {{"phase_current_peak", off_A},
                                {"phase_current_rms", off_A},
                                {"bus_voltage_min", 36e-3 * off_A},  // both resistances of the link
                                {"bus_voltage_max", 36e-3 * off_A},
                                {"bus_current_peak", off_A},
                                {"torque_mean", off_Nm},
                                {"torque_ripple", 2.0 * off_Nm / mean_Nm},
                                {"torque_ripple_with_switching", 2.0 * off_Nm / mean_Nm},
                                // 0.09 % of 80 A stays, over the 2.6 s for which it drives.
                                {"speed_mean", 0.0009 * 80.0 * per_A / inertia_kg_m2 * 2.6},
                                {"speed_min", 0.0009 * 80.0 * per_A / inertia_kg_m2 * 2.6},
                                {"speed_max", 0.0009 * 80.0 * per_A / inertia_kg_m2 * 2.6},
                                {"pwm_frequency", 30e-6 * 8000.0},  // the chip's counter drifts
                                {"smallest_dead_time", 41e-9},      // a tick, and Linux' nanosecond
                                {"shoot_through_count", 0.0}};
const Window windows[] = {{0.9, 1.7, ""}, {2.0, 2.9, ""}};

TEST(SameMeasures, OfOurOwnFirmwareThroughTheCoProcessorAsInVirtualTime) {
  const Bench bench = mid();
  const Recorded one = whole(bench);
  PartitionedOutcome out;
  const Recorded two = in_parts(bench, out);
  EXPECT_EQ(out.mirror.distrusted, 0U);
  EXPECT_EQ(out.mirror.missed, 0U);
  EXPECT_TRUE(out.gaps.empty());
  EXPECT_EQ(out.controller, io::Health::running);
  for (const Window& window : windows) {
    for (const auto& [name, most] : tolerances) {
      const Measurement a = one.measure(name, window), b = two.measure(name, window);
      EXPECT_TRUE(a.undefined.empty() && b.undefined.empty()) << name;
      // What a measure cannot know of its own record it cannot know of either in the same way.
      const double own = name == "phase_current_rms" ? 0.0 : a.uncertainty + b.uncertainty;
      EXPECT_NEAR(a.value, b.value, most + own) << name << " from " << window.from_s << " s";
    }
    EXPECT_NEAR(one.measure("torque_mean", window).value, mean_Nm, 0.1);
    // By power: torque at 62 rad/s, heat, on 72 V.
    EXPECT_NEAR(one.measure("bus_current_mean", window).value,
                two.measure("bus_current_mean", window).value,
                (off_Nm * 62.0 + 3.0 * 28e-3 * 37.0 * off_A) / 72.0);
  }
}

// The key's line is the mirror's, which stands 4 ms behind the clock and writes once a millisecond:
// so much longer everything takes that the driver asks for. The whole plant answers at once.
TEST(SameMeasures, OfWhatTheDriverAsksForComeWithTheMirrorsLag) {
  PartitionedOutcome out;
  const Measurement late = in_parts(mid(), out).measure("time_to_gates_off", {0.0, 0.1, "key off"});
  ASSERT_TRUE(late.undefined.empty()) << late.undefined;
  EXPECT_GE(late.value, 3.9e-3);
  EXPECT_LE(late.value, 5.2e-3);
}

// A sensor that shows 1.5 % more is enough to be seen.
TEST(SameMeasures, AreNotThoseOfAnotherSensor) {
  const Recorded one = whole(mid());
  PartitionedOutcome out;
  const Recorded two = in_parts(mid({"sensors.phase_current.sensitivity=16.24 mV/A"}), out);
  EXPECT_EQ(out.mirror.distrusted, 0U) << "the chip's plant and the mirror are right";
  EXPECT_GT(std::fabs(one.measure("torque_mean", windows[1]).value -
                      two.measure("torque_mean", windows[1]).value),
            off_Nm);
}

}  // namespace
}  // namespace stillrotor
