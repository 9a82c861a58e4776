// Hall switches and incremental encoder at constant speed: where and in which order lines flip.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;
using plant::SensorLine;
constexpr double degree = pi / 180.0;

struct Seen {
  SensorLine line;
  bool high;
  double theta_e;  // speed times time: the dynamometer's angle, not the plant's
  std::string code;
};

/// Every sensor edge on the way through `turns` electrical turns at constant speed.
std::vector<Seen> watch(const plant::DriveParameters& p, double omega_e, double start_theta_e,
                        double turns) {
  plant::Drive drive(p);
  drive.start({omega_e / p.machine.pole_pairs, start_theta_e / p.machine.pole_pairs, -1.0});
  hold_electrical(drive, omega_e);
  std::vector<Seen> seen;
  const std::int64_t end = ps(turns * plant::two_pi / std::abs(omega_e));
  for (auto stop = drive.advance(end); stop.edge; stop = drive.advance(end)) {
    std::string code;
    for (auto line : {SensorLine::hall_U, SensorLine::hall_V, SensorLine::hall_W})
      code += drive.level(line) ? '1' : '0';
    seen.push_back({stop.what.line, stop.what.high,
                    start_theta_e + omega_e * 1e-12 * static_cast<double>(drive.state().time_ps),
                    code});
  }
  return seen;
}

plant::DriveParameters with_halls() {
  plant::DriveParameters p = stiff_drive();
  p.hall.fitted = true;
  return p;
}

// Tolerance of all angles: an edge is stamped on the next picosecond, 1 ps * 500 rad/s, and the
// carried angle's rounding: 1e-9 rad.
constexpr double angle_tolerance = 1e-9;

// Line k is high for half a turn from -90 deg + 120 deg k. From 0 deg forward: V rises at 30, U
// falls at 90, W rises at 150, V falls at 210, U rises at 270, W falls at 330 deg; six codes, none
// of them 000 or 111. By hand; common practice for 120 deg spacing.
TEST(Hall, SixStatesPerElectricalTurnSixtyDegreesApart) {
  const auto seen = watch(with_halls(), 500.0, 0.0, 1.0);
  ASSERT_EQ(seen.size(), 6U);
  const SensorLine line[6] = {SensorLine::hall_V, SensorLine::hall_U, SensorLine::hall_W,
                              SensorLine::hall_V, SensorLine::hall_U, SensorLine::hall_W};
  const std::string code[6] = {"110", "010", "011", "001", "101", "100"};
  for (std::size_t n = 0; n < 6; ++n) {
    EXPECT_EQ(seen[n].line, line[n]) << n;
    EXPECT_EQ(seen[n].high, n % 2 == 0) << n;
    EXPECT_NEAR(seen[n].theta_e, (30.0 + 60.0 * static_cast<double>(n)) * degree, angle_tolerance);
    EXPECT_EQ(seen[n].code, code[n]) << n;
  }
}

// Backwards the same angles come in the opposite order. From 360 deg down: W rises at 330 ...
TEST(Hall, ComesInTheOppositeOrderTurningBackwards) {
  const auto seen = watch(with_halls(), -500.0, plant::two_pi - 1e-6, 1.0);
  ASSERT_EQ(seen.size(), 6U);
  const std::string code[6] = {"101", "001", "011", "010", "110", "100"};
  for (std::size_t n = 0; n < 6; ++n) {
    EXPECT_NEAR(seen[n].theta_e, (330.0 - 60.0 * static_cast<double>(n)) * degree, angle_tolerance);
    EXPECT_EQ(seen[n].code, code[n]) << n;
  }
}

// 60 deg spacing: V rises at -30 deg, W at 30 deg: 111 and 000 are valid, and the edges still lie
// 60 deg apart. By hand.
TEST(Hall, SixtyDegreeSpacingPassesThroughAllOnesAndAllZeros) {
  plant::DriveParameters p = with_halls();
  p.hall.spacing_rad = 60.0 * degree;
  const auto seen = watch(p, 500.0, 0.0, 1.0);
  ASSERT_EQ(seen.size(), 6U);
  const std::string code[6] = {"111", "011", "001", "000", "100", "110"};
  for (std::size_t n = 0; n < 6; ++n) {
    EXPECT_NEAR(seen[n].theta_e, (30.0 + 60.0 * static_cast<double>(n)) * degree, angle_tolerance);
    EXPECT_EQ(seen[n].code, code[n]) << n;
  }
}

// A placement error of +2 deg on V delays both its edges by 2 deg, whichever way the rotor comes
// from; hysteresis of 1 deg (full width) delays every flip by 0.5 deg in the sense of rotation.
TEST(Hall, PlacementErrorAndHysteresisShiftTheFlips) {
  plant::DriveParameters p = with_halls();
  p.hall.placement_error_rad[1] = 2.0 * degree;
  p.hall.hysteresis_rad = 1.0 * degree;
  const double forward[6] = {32.5, 90.5, 150.5, 212.5, 270.5, 330.5};
  const auto ahead = watch(p, 500.0, 0.0, 1.0);
  ASSERT_EQ(ahead.size(), 6U);
  for (std::size_t n = 0; n < 6; ++n)
    EXPECT_NEAR(ahead[n].theta_e, forward[n] * degree, angle_tolerance) << n;
  const double backward[6] = {329.5, 269.5, 211.5, 149.5, 89.5, 31.5};
  const auto back = watch(p, -500.0, plant::two_pi - 1e-6, 1.0);
  ASSERT_EQ(back.size(), 6U);
  for (std::size_t n = 0; n < 6; ++n)
    EXPECT_NEAR(back[n].theta_e, backward[n] * degree, angle_tolerance) << n;
}

plant::DriveParameters with_encoder() {
  plant::DriveParameters p = stiff_drive();
  p.encoder.fitted = true;
  p.encoder.lines = 100;
  p.encoder.index_rad = 1.0;
  return p;
}

// 4 counts a line: 400 flips of A and B in a mechanical turn (4 electrical turns), equally spaced;
// A leads B turning forward, that is A rises while B is low. Z is high for one count at 1 rad.
// By hand; common practice of incremental encoders. Start half a count off an edge.
TEST(Encoder, FourCountsALineAndAOneCountIndexPerTurn) {
  const double count_rad = plant::two_pi / 400.0;  // mechanical
  for (const double direction : {1.0, -1.0}) {
    const plant::DriveParameters p = with_encoder();
    const auto seen = watch(p, direction * 500.0, 4.0 * 0.5 * count_rad, 4.0);
    int a_b = 0, z_rises = 0;
    bool b = false;
    double last = 0.0, z_from = 0.0, z_to = 0.0;
    for (const auto& e : seen) {
      if (e.line == SensorLine::encoder_Z) {
        z_rises += e.high ? 1 : 0;
        (e.high ? z_from : z_to) = e.theta_e / 4.0;
        continue;
      }
      if (a_b > 0) {
        EXPECT_NEAR(std::abs(e.theta_e - last) / 4.0, count_rad, angle_tolerance);
      }
      last = e.theta_e;
      ++a_b;
      if (e.line == SensorLine::encoder_B) b = e.high;
      if (e.line == SensorLine::encoder_A && e.high && a_b > 4) {
        EXPECT_EQ(b, direction < 0.0);
      }
    }
    EXPECT_EQ(a_b, 400);
    EXPECT_EQ(z_rises, 1);
    EXPECT_NEAR(std::abs(z_to - z_from), count_rad, angle_tolerance);
    // The count that 1 rad lies in: number 63 (1 rad = 63.66 counts).
    const double turn = direction > 0.0 ? 0.0 : plant::two_pi;
    EXPECT_NEAR(std::fmin(z_from, z_to) + turn, 63.0 * count_rad, angle_tolerance);
  }
}

}  // namespace
}  // namespace stillrotor::reference
