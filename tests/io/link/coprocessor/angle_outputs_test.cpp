// Edges of the angle's lines against the roots of theta(t) = theta_0 + omega t + alpha t^2 / 2,
// solved in double: the first tick at or after each root.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "io/link/coprocessor/host/parameters.hpp"

namespace stillrotor::io::coprocessor {
namespace {

constexpr double two_pi = 6.28318530717958647692;
const Scale scale{8e-9, 125, 4e-4, 1e-2, 1e-10};

struct Ride {
  AngleOutputs outputs;
  Motion motion;
  double lasts_s = 10e-3;
};

std::vector<cp_line_edge> edges_of(const Ride& r, int pole_pairs) {
  const auto p = angle_parameters(r.outputs, pole_pairs, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 1.0);
  const cp_piece first = piece(scale, r.motion, 0);
  cp_track track;
  cp_track_start(&track, &rail, first.theta);
  cp_track_join(&track, &first, 0);
  cp_angle_outputs lines;
  cp_angle_start(&lines, &p, first.theta);
  std::vector<cp_line_edge> all;
  const int steps = static_cast<int>(r.lasts_s / scale.step_s());
  for (int n = 0; n < steps; ++n) {
    cp_track_step(&track);
    cp_line_edge some[CP_ANGLE_EDGES];
    const auto count =
        cp_angle_step(&lines, &track, static_cast<std::uint32_t>(n * scale.step_ticks), some);
    all.insert(all.end(), some, some + count);
  }
  EXPECT_EQ(track.too_fast_steps, 0U);
  return all;
}

/// When the angle passes the multiples of `pitch` (from `first` on), in order of time.
std::vector<double> crossings_s(const Motion& m, double pitch, double first, double lasts_s) {
  const double w = m.omega_m_rad_s, a = m.alpha_rad_s2;
  std::vector<double> times;
  double low = m.theta_m_rad, high = low;
  for (double t : {lasts_s, a != 0.0 ? -w / a : 0.0}) {
    if (t < 0.0 || t > lasts_s) continue;
    const double theta = m.theta_m_rad + w * t + 0.5 * a * t * t;
    low = std::min(low, theta);
    high = std::max(high, theta);
  }
  for (double k = std::ceil((low - first) / pitch); first + k * pitch <= high; k += 1.0) {
    const double c = m.theta_m_rad - (first + k * pitch);
    if (a == 0.0) {
      times.push_back(-c / w);
      continue;
    }
    const double root = std::sqrt(std::max(0.0, w * w - 2.0 * a * c));
    for (double t : {(-w - root) / a, (-w + root) / a})
      if (t > 0.0 && t <= lasts_s) times.push_back(t);
  }
  std::sort(times.begin(), times.end());
  return times;
}

/// 2^-32 of a turn and what the straight line inside a step misses, seen in time.
double tolerance_s(const Motion& m, double t) {
  const double speed = std::fabs(m.omega_m_rad_s + m.alpha_rad_s2 * t);
  const double angle =
      two_pi * 0x1p-31 + 0.125 * std::fabs(m.alpha_rad_s2) * scale.step_s() * scale.step_s();
  return 1.01 * scale.tick_s + 4.0 * angle / speed;
}

void expect_edges_at(const std::vector<cp_line_edge>& edges, std::uint32_t lines,
                     const std::vector<double>& expected, const Motion& m, double lasts_s) {
  std::vector<double> seen;
  for (const auto& e : edges)
    if (e.line & lines) seen.push_back(e.at * scale.tick_s);
  // One at the run's very end may fall on either side of it.
  ASSERT_NEAR(static_cast<double>(seen.size()), static_cast<double>(expected.size()), 1.0);
  for (std::size_t n = 0; n < std::min(seen.size(), expected.size()); ++n) {
    if (expected[n] > lasts_s - 2.0 * scale.step_s()) continue;
    ASSERT_NEAR(seen[n], expected[n] + 0.5 * scale.tick_s, tolerance_s(m, expected[n])) << n;
  }
}

TEST(AngleOutputs, EncoderCountsFallOnTheirTicksAtAnySpeedForwardAndBackward) {
  std::mt19937 rng(5);
  const auto uniform = [&](double a, double b) {
    return std::uniform_real_distribution<>(a, b)(rng);
  };
  for (int n = 0; n < 60; ++n) {
    Ride r;
    r.outputs.halls = false;
    r.outputs.encoder_lines = 1024;
    r.outputs.index_counts = 1;
    const auto p = angle_parameters(r.outputs, 4, scale);
    const double top = max_speed_rad_s(p, scale);
    // Every other one passes through standstill and comes back, up to 2.4 times as fast.
    const double most = n % 2 ? 0.4 * top : 0.99 * top;
    const double speed = n % 3 ? uniform(1.0, most) : uniform(0.5, 20.0);
    const double alpha = n % 2 ? -speed / uniform(3e-3, 8e-3) : uniform(-10.0, 10.0);
    r.motion = {uniform(0.0, 6.0), n % 4 < 2 ? speed : -speed, n % 4 < 2 ? alpha : -alpha};
    const auto edges = edges_of(r, 4);
    expect_edges_at(edges, CP_ENCODER_A | CP_ENCODER_B,
                    crossings_s(r.motion, two_pi / 4096.0, 0.0, r.lasts_s), r.motion, r.lasts_s);
  }
}

TEST(AngleOutputs, HallsFallOnTheirTicksWithPlacementErrors) {
  for (double speed : {-700.0, -3.0, 3.0, 314.0}) {
    Ride r;
    r.outputs.hall_placement_error_rad[1] = 0.03;
    r.motion = {0.2, speed, 0.0};
    const auto edges = edges_of(r, 4);
    for (int k = 0; k < 3; ++k) {
      const double rise =
          (k * two_pi / 3.0 + r.outputs.hall_placement_error_rad[k] - two_pi / 4.0) / 4.0;
      expect_edges_at(edges, static_cast<std::uint32_t>(CP_HALL_U << k),
                      crossings_s(r.motion, two_pi / 8.0, rise, r.lasts_s), r.motion, r.lasts_s);
    }
  }
}

// docs/notation.md: UVW reads 100 at 0 degrees, then 110, 010, 011, 001, 101, each for 60 degrees.
TEST(AngleOutputs, HallCodesAreThoseOfTheNotation) {
  const auto p = angle_parameters({}, 1, scale);
  const std::uint32_t U = CP_HALL_U, V = CP_HALL_V, W = CP_HALL_W;
  const std::uint32_t codes[6] = {U, U | V, V, V | W, W, U | W};
  for (int k = 0; k < 6; ++k) {
    cp_angle_outputs o;
    cp_angle_start(&o, &p, static_cast<std::uint32_t>(std::llround(k / 6.0 * 0x1p32)));
    EXPECT_EQ(o.levels, codes[k]) << k;
  }
}

TEST(AngleOutputs, IndexComesOnceATurnAndTheWholeTurnHasItsCounts) {
  Ride r;
  r.outputs.halls = false;
  r.outputs.encoder_lines = 100;
  r.outputs.index_rad = 1.0;
  r.motion = {0.0, 1000.0, 0.0};
  r.lasts_s = 3.0 * two_pi / 1000.0;
  int rises = 0, counts = 0;
  for (const auto& e : edges_of(r, 4)) {
    if (e.line == CP_ENCODER_Z)
      rises += e.high != 0;
    else
      ++counts;
  }
  EXPECT_EQ(rises, 3);
  EXPECT_NEAR(counts, 1200, 1);
}

TEST(AngleOutputs, LevelsAfterAnyWayAreThoseOfThePlace) {
  Ride r;
  r.outputs.encoder_lines = 512;
  r.motion = {5.0, 900.0, -250000.0};  // forward 3.6 ms, then back, faster and faster
  r.lasts_s = 6e-3;
  const auto p = angle_parameters(r.outputs, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 1.0);
  const cp_piece first = piece(scale, r.motion, 0);
  cp_track track;
  cp_track_start(&track, &rail, first.theta);
  cp_track_join(&track, &first, 0);
  cp_angle_outputs walked, there;
  cp_angle_start(&walked, &p, first.theta);
  for (std::uint32_t n = 0; n < 6000; ++n) {
    cp_track_step(&track);
    cp_line_edge some[CP_ANGLE_EDGES];
    cp_angle_step(&walked, &track, n * 125, some);
    cp_angle_start(&there, &p, track.theta);
    ASSERT_EQ(walked.levels, there.levels) << n;
    ASSERT_EQ(walked.count, there.count) << n;
  }
}

TEST(AngleOutputs, AnglesWordIsThatOfTheTickOfSelection) {
  Ride r;
  r.outputs.word_bits = 14;
  r.motion = {0.0, 500.0, 0.0};
  const auto p = angle_parameters(r.outputs, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 1.0);
  const cp_piece first = piece(scale, r.motion, 0);
  cp_track track;
  cp_track_start(&track, &rail, first.theta);
  cp_track_join(&track, &first, 0);
  for (std::uint32_t n = 1; n < 12000; ++n) {
    cp_track_step(&track);
    if (n < 4) continue;
    const std::uint32_t at = n * 125 - (n % 300);
    const double turns = 500.0 * at * scale.tick_s / two_pi;
    const double exact = (turns - std::floor(turns)) * 16384.0;
    const double word = cp_angle_word(&p, &track, n * 125, at);
    const double off = std::fabs(word + 0.5 - exact);
    ASSERT_LT(std::min(off, 16384.0 - off), 0.51) << n;  // half a bit, and rounding
  }
}

TEST(Trajectory, PiecesThatDoNotJoinAreSlewedAndCounted) {
  const auto p = angle_parameters({}, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 10.0);
  cp_track track;
  cp_track_start(&track, &rail, 0);
  const cp_piece rest = piece(scale, {0.01, 0.0, 0.0}, 0);
  cp_track_join(&track, &rest, 0);
  EXPECT_EQ(track.gaps, 1U);
  EXPECT_NEAR(track.worst_gap * two_pi * 0x1p-32, 0.01, 1e-8);
  std::uint32_t before = track.theta;
  int steps = 0;
  for (; steps < 5000 && track.lag != 0; ++steps) {
    cp_track_step(&track);
    EXPECT_LE(track.theta - before, rail.slew + 1);
    before = track.theta;
  }
  EXPECT_NEAR(steps, 1000, 2);  // 10 mrad at 10 rad/s
  EXPECT_EQ(track.theta, rest.theta);
}

TEST(Trajectory, APieceThatJoinsIsNoGap) {
  const auto p = angle_parameters({}, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 10.0);
  cp_track track;
  cp_track_start(&track, &rail, 0);
  double theta = 0.0, omega = 100.0;
  for (std::uint32_t n = 0; n < 50; ++n) {
    const cp_piece next = piece(scale, {theta, omega, 2000.0}, n * 125000);
    cp_track_join(&track, &next, n * 125000);
    for (int k = 0; k < 1000; ++k) cp_track_step(&track);
    theta += omega * 1e-3 + 0.5 * 2000.0 * 1e-6;
    omega += 2.0;
  }
  EXPECT_EQ(track.gaps, 0U);
}

TEST(Trajectory, ALatePieceIsCaughtUpExactly) {
  const auto p = angle_parameters({}, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 10.0);
  const cp_piece next = piece(scale, {1.0, 300.0, 5000.0}, 0);
  cp_track in_time, late;
  cp_track_start(&in_time, &rail, next.theta);
  cp_track_start(&late, &rail, next.theta);
  cp_track_join(&in_time, &next, 0);
  for (int k = 0; k < 40; ++k) cp_track_step(&in_time);
  cp_track_join(&late, &next, 40 * 125);
  EXPECT_EQ(late.late_pieces, 1U);
  EXPECT_EQ(late.angle, in_time.angle);
  EXPECT_EQ(late.rate, in_time.rate);
}

TEST(Trajectory, HoldsBackWhatTheLinesCannotFollow) {
  AngleOutputs o;
  o.encoder_lines = 1024;
  const auto p = angle_parameters(o, 4, scale);
  const auto rail = track_parameters(p, scale, 1e-6, 10.0);
  const cp_piece fast = piece(scale, {0.0, 2000.0, 0.0}, 0);  // limit: 1532 rad/s
  cp_track track;
  cp_track_start(&track, &rail, 0);
  cp_track_join(&track, &fast, 0);
  cp_angle_outputs lines;
  cp_angle_start(&lines, &p, 0);
  cp_line_edge some[CP_ANGLE_EDGES];
  for (std::uint32_t n = 0; n < 1000; ++n) {
    cp_track_step(&track);
    cp_angle_step(&lines, &track, n * 125, some);
  }
  EXPECT_EQ(track.too_fast_steps, 1000U);
  cp_angle_outputs there;
  cp_angle_start(&there, &p, track.theta);
  EXPECT_EQ(lines.count, there.count);  // and still loses no edge
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
