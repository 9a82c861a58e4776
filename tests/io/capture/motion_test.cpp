// Halls: line k is high in the half turn from -90 deg + k * 120 deg on (plant/sensors/sensors.hpp).
// By hand, forward from 0 deg: U falls at 90, W rises at 150, ... so edges lie at 30 + n * 60 deg.
#include "io/capture/motion.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "recording.hpp"

namespace stillrotor::io::test {
namespace {

constexpr double pi = 3.14159265358979324;
constexpr double deg = pi / 180.0;

bool hall_level(int k, double theta, double spacing = 120 * deg) {
  const double x = theta + pi / 2 - k * spacing;
  return x - 2 * pi * std::floor(x / (2 * pi)) < pi;
}

/// Samples theta(t) every tick_s and writes the Hall changes, plus an encoder of `lines` per
/// electrical turn when asked.
std::string recorded(const std::function<double(double)>& theta, double length_s, int lines = 0,
                     double spacing = 120 * deg) {
  std::string text =
      "$timescale 1 us $end\n$scope module m $end\n$var wire 1 G hall_u $end $var wire 1 H hall_v "
      "$end $var wire 1 I hall_w $end $var wire 1 a enc_a $end $var wire 1 b enc_b $end "
      "$var wire 1 z enc_z $end $var wire 1 X idle $end $upscope $end\n$enddefinitions $end\n#0 "
      "0X\n";
  std::string before;
  const auto ticks = std::llround(length_s * 1e6);
  for (long long tick = 0; tick <= ticks; ++tick) {
    const double t = static_cast<double>(tick) * 1e-6;
    std::string now;
    for (int k = 0; k < 3; ++k)
      now += std::string(hall_level(k, theta(t), spacing) ? "1" : "0") + "GHI"[k] + " ";
    if (lines > 0) {
      const auto count = static_cast<long long>(std::floor(theta(t) / (2 * pi) * 4 * lines));
      const auto quarter = ((count % 4) + 4) % 4;
      now += std::string(quarter == 1 || quarter == 2 ? "1a " : "0a ") +
             (quarter >= 2 ? "1b " : "0b ") + (count % (4 * lines) == 0 ? "1z" : "0z");
    }
    if (now != before || tick == ticks) text += "#" + std::to_string(tick) + " " + now + "\n";
    before = now;
  }
  return text;
}

RecordedMotion motion_of(const std::string& text, CapturedMachine machine = {}) {
  const Recording recording(text);
  CaptureConfig config;
  config.file = recording.path();
  for (std::size_t k = 0; k < gate_count; ++k) config.signals[k] = "idle";
  config.signals[index(line::hall_U)] = "hall_u";
  config.signals[index(line::hall_V)] = "hall_v";
  config.signals[index(line::hall_W)] = "hall_w";
  if (machine.encoder_lines > 0) {
    config.signals[index(line::encoder_A)] = "enc_a";
    config.signals[index(line::encoder_B)] = "enc_b";
    config.signals[index(line::encoder_Z)] = "enc_z";
  }
  return recorded_motion(config, machine);
}

/// The profile's angle at time t.
double angle_at(const RecordedMotion& motion, double t) {
  double angle = motion.initial_electrical_rad;
  for (std::size_t k = 0; k < motion.speed.size(); ++k) {
    const double from = static_cast<double>(motion.speed[k].at.count()) * 1e-12;
    const double to = k + 1 < motion.speed.size()
                          ? static_cast<double>(motion.speed[k + 1].at.count()) * 1e-12
                          : 1e9;
    if (t <= from) break;
    angle += motion.speed[k].electrical_rad_s * (std::min(t, to) - from);
  }
  return angle;
}

/// Largest error of the profile's angle against theta(t).
double worst_error(const RecordedMotion& motion, const std::function<double(double)>& theta,
                   double length_s) {
  double worst = 0.0;
  for (double t = 0.0; t <= length_s; t += 50e-6)
    worst = std::max(worst, std::abs(std::remainder(angle_at(motion, t) - theta(t), 2 * pi)));
  return worst;
}

// 50 Hz: one tick of 1 us is 0.018 deg; an edge is stamped up to one tick late, a chord between two
// of them is off by no more than that. Twice it, for the extrapolation before the first edge.
TEST(RecordedMotion, FollowsHallsAtConstantSpeedBothWays) {
  for (const double turns_per_s : {50.0, -50.0})
    for (const double spacing : {120 * deg, 60 * deg}) {
      const auto theta = [&](double t) { return 1.0 + 2 * pi * turns_per_s * t; };
      CapturedMachine machine;
      machine.hall_spacing_rad = spacing;
      const auto motion = motion_of(recorded(theta, 0.06, 0, spacing), machine);
      EXPECT_EQ(motion.source, RecordedMotion::Source::hall);
      EXPECT_EQ(motion.anchors, 18u);  // 3 turns of 6
      EXPECT_EQ(motion.impossible_steps, 0u);
      EXPECT_LT(worst_error(motion, theta, 0.06), 2 * 0.018 * deg) << turns_per_s << " " << spacing;
      EXPECT_NEAR(motion.initial_electrical_rad, 1.0, 2 * 0.018 * deg);
      EXPECT_LT(motion.interpolation_error_rad, 0.1 * deg);
      EXPECT_LT(motion.exceeds_limit_at, Time{});
    }
}

// Even deceleration: the stated bound must cover the true error, and not be many times larger.
// Whole recording, 20 Hz to 0 in 0.4 s: the last sectors are slow, so the error passes 5 degrees.
TEST(RecordedMotion, BoundsTheErrorBetweenHallsOfAMachineThatSlowsDown) {
  const auto coast = [](double t) { return 0.2 + 2 * pi * (20 * t - 25 * t * t); };
  const auto fast_part = motion_of(recorded(coast, 0.2));
  const double true_error = worst_error(fast_part, coast, 0.2);
  EXPECT_GE(fast_part.interpolation_error_rad + 0.01 * deg, true_error);
  EXPECT_LT(fast_part.interpolation_error_rad, 4 * true_error + 0.05 * deg);
  EXPECT_LT(fast_part.exceeds_limit_at, Time{});

  const auto whole = motion_of(recorded(coast, 0.4));
  EXPECT_GE(whole.interpolation_error_rad + 0.01 * deg, worst_error(whole, coast, 0.4));
  EXPECT_GT(whole.exceeds_limit_at, us(300'000));
}

// Placed 6 deg late and with hysteresis 4 deg, a line flips 8 deg late when turning forward. With
// both known the angle is right; without, it is off by what was left out.
TEST(RecordedMotion, AllowsForPlacementErrorAndHysteresis) {
  const auto theta = [](double t) { return 1.0 + 2 * pi * 50 * t; };
  const auto late = [&](double t) { return theta(t) - 8 * deg; };  // what the lines show
  CapturedMachine machine;
  for (double& error : machine.hall_placement_error_rad) error = 6 * deg;
  machine.hall_hysteresis_rad = 4 * deg;
  EXPECT_LT(worst_error(motion_of(recorded(late, 0.06), machine), theta, 0.06), 0.04 * deg);
  EXPECT_NEAR(worst_error(motion_of(recorded(late, 0.06)), theta, 0.06), 8 * deg, 0.04 * deg);
}

TEST(RecordedMotion, FollowsARotorThatTurnsBack) {
  const auto swing = [](double t) { return 0.3 + 4.0 * std::sin(2 * pi * 5 * t); };
  const auto motion = motion_of(recorded(swing, 0.2));
  EXPECT_EQ(motion.impossible_steps, 0u);
  // Between edges 60 deg apart the rotor turns at most that far.
  EXPECT_LT(worst_error(motion, swing, 0.2), 60 * deg);
  // It is back where it began, within the sector.
  EXPECT_LT(std::abs(angle_at(motion, 0.2) - motion.initial_electrical_rad), 60 * deg);
}

TEST(RecordedMotion, KnowsOnlyTheSectorOfAMachineThatStands) {
  const auto motion = motion_of(recorded([](double) { return 10 * deg; }, 0.01));
  EXPECT_TRUE(motion.speed.empty());
  // 10 deg lies between the edges at -30 and 30 deg.
  EXPECT_NEAR(motion.initial_electrical_rad, 0.0, 1e-12);
  EXPECT_NEAR(motion.initial_uncertainty_rad, 30 * deg, 1e-12);
}

// V stuck low: of the six sectors only those whose V is low keep their code; the others read 000 or
// a neighbour's code twice over. Counted, and the profile goes on.
TEST(RecordedMotion, CountsImpossibleSteps) {
  auto text = recorded([](double t) { return 1.0 + 2 * pi * 50 * t; }, 0.06);
  for (std::size_t at = text.find("#0 0X"); (at = text.find("1H", at)) != std::string::npos;)
    text[at] = '0';
  const auto motion = motion_of(text);
  EXPECT_GT(motion.impossible_steps, 0u);
  EXPECT_FALSE(motion.speed.empty());
  EXPECT_GT(motion_of(text).speed.front().electrical_rad_s, 0.0);
}

// 64 lines per electrical turn: one count is 1.4 deg. The Halls place it, the index confirms.
TEST(RecordedMotion, PrefersTheEncoderAndPlacesItByIndexOrHalls) {
  for (const double turns_per_s : {20.0, -20.0}) {
    const auto theta = [&](double t) {
      return 1.0 + 2 * pi * turns_per_s * t + 0.3 * std::sin(200 * t);
    };
    CapturedMachine machine;
    machine.encoder_lines = 64;
    const auto motion = motion_of(recorded(theta, 0.1, 64), machine);
    EXPECT_EQ(motion.source, RecordedMotion::Source::encoder);
    EXPECT_EQ(motion.impossible_steps, 0u);
    EXPECT_LT(worst_error(motion, theta, 0.1), 2 * 360.0 / 256 * deg);
    // Too short for an index pulse: the Halls do it.
    const auto brief = motion_of(recorded(theta, 0.01, 64), machine);
    EXPECT_LT(worst_error(brief, theta, 0.01), 2 * 360.0 / 256 * deg) << turns_per_s;
  }
}

TEST(RecordedMotion, SaysSoWhenNothingWasRecorded) {
  const Recording recording(header("1 us") + "#0 0A\n#10 1A\n");
  CaptureConfig config = config_for(recording.path());
  for (auto hall : {line::hall_U, line::hall_V, line::hall_W}) config.signals[index(hall)].clear();
  EXPECT_EQ(recorded_motion(config, {}).source, RecordedMotion::Source::none);
}

}  // namespace
}  // namespace stillrotor::io::test
