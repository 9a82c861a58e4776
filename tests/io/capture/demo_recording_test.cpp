// The shipped recording: 250 ms at 150 rpm with 20 pole pairs, that is 50 Hz electrical, from 12
// deg.
#include <gtest/gtest.h>

#include <cmath>

#include "io/capture/capture.hpp"
#include "recording.hpp"

namespace stillrotor::io::test {
namespace {

constexpr double pi = 3.14159265358979324;

const char* const demo = STILLROTOR_SOURCE_DIR "/configs/captures/orchard-cart-coast.vcd";

TEST(DemoRecording, IsReadWithItsResolutionLengthAndPwmFrequency) {
  const CaptureReplay replay(config_for(demo));
  EXPECT_DOUBLE_EQ(replay.survey().resolution_s, 10e-9);
  EXPECT_NEAR(replay.survey().length_s, 0.25, 1e-12);
  EXPECT_NEAR(replay.survey().pwm_frequency_Hz, 8000.0, 1e-6);
  EXPECT_LT(std::filesystem::file_size(demo), 300'000u);
}

// 10 ns at 50 Hz are 0.00018 deg, the generator's edges one tick late.
TEST(DemoRecording, TellsSpeedAndStartAngle) {
  const auto motion = CaptureReplay(config_for(demo)).motion({});
  EXPECT_EQ(motion.anchors, 75u);  // 12.5 turns of six
  EXPECT_EQ(motion.impossible_steps, 0u);
  for (const auto& point : motion.speed) EXPECT_NEAR(point.electrical_rad_s, 2 * pi * 50, 1e-2);
  EXPECT_NEAR(motion.initial_electrical_rad, 12 * pi / 180, 1e-4);
}

// A gate pattern drives when its current flows with the back-EMF: e_k = -sin(theta - k 120 deg) has
// the sign of the leg's current. Checked wherever exactly one high and one low switch are on; the
// pattern follows the Hall edge by 15 us, 0.27 deg.
TEST(DemoRecording, DrivesForwardAndNeverShortsALeg) {
  CaptureReplay replay(config_for(demo));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, Time(249'999'000'000));
  std::array<bool, gate_count> on{};
  std::size_t patterns = 0;
  for (std::size_t k = 0; k < bench.driven.size(); ++k) {
    const Edge& edge = bench.driven[k];
    on[index(edge.line)] = edge.level == Level::high;
    if (k + 1 < bench.driven.size() && bench.driven[k + 1].at == edge.at) continue;
    const double theta = 12 * pi / 180 + 2 * pi * 50 * static_cast<double>(edge.at.count()) * 1e-12;
    double driving = 0.0;
    int conducting = 0;
    for (int leg = 0; leg < 3; ++leg) {
      ASSERT_FALSE(on[2 * leg] && on[2 * leg + 1]) << "leg " << leg << " shorted";
      const double current = on[2 * leg] ? 1.0 : on[2 * leg + 1] ? -1.0 : 0.0;
      conducting += current != 0.0;
      driving += current * -std::sin(theta - leg * 2 * pi / 3);
    }
    if (conducting != 2) continue;
    ++patterns;
    // Line to line, six-step stays within 30 deg of the peak sqrt 3: 1.5; 0.27 deg late costs
    // 0.005.
    ASSERT_GT(driving, 1.5 - 0.01) << "at " << edge.at.count() << " ps";
  }
  EXPECT_GT(patterns, 1900u);
}

}  // namespace
}  // namespace stillrotor::io::test
