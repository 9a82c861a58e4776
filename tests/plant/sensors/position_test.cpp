// Jitter of the Halls; missing lines, index widths and direction of the encoder.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr double deg = pi / 180.0;

struct Seen {
  SensorLine line;
  bool high;
  double theta_m_rad;
};

std::vector<Seen> turn(Drive& drive, double omega_m, double angle_m_rad) {
  drive.hold_speed_rad_s({omega_m, 0.0});
  std::vector<Seen> out;
  const std::int64_t end =
      drive.state().time_ps + static_cast<std::int64_t>(angle_m_rad / std::abs(omega_m) * 1e12);
  for (auto stop = drive.advance(end); stop.edge; stop = drive.advance(end))
    out.push_back({stop.what.line, stop.what.high, drive.snapshot().theta_m_rad});
  return out;
}

DriveParameters halls(double jitter_deg) {
  DriveParameters d;
  d.machine.pole_pairs = 1;
  d.hall.fitted = true;
  d.hall.jitter_rad = jitter_deg * deg;
  return d;
}

/// How far each of the six edges a turn lies from its place, in degrees; from standing at 1 deg.
std::vector<double> errors(const std::vector<Seen>& seen, double first_deg) {
  std::vector<double> out;
  for (std::size_t k = 0; k < seen.size(); ++k)
    out.push_back(seen[k].theta_m_rad / deg - (first_deg + 60.0 * static_cast<double>(k)));
  return out;
}

// Even spread of +-2 deg: deviation 2 / sqrt 3 = 1.155 deg; of 600 edges +- 0.03 (one sigma, even
// spread: 0.45 / sqrt 600 of it), mean 0 +- 0.047; allowed five.
TEST(HallJitter, SpreadsEachEdgeEvenlyWithinItsWidth) {
  Drive drive(halls(2.0));
  StartState start;
  start.theta_m_rad = 1.0 * deg;
  drive.start(start);
  const auto off = errors(turn(drive, 100.0, 100.0 * two_pi), 30.0);
  ASSERT_EQ(off.size(), 600U);
  double sum = 0.0, squares = 0.0, most = 0.0;
  for (const double x : off) {
    sum += x;
    squares += x * x;
    most = std::max(most, std::abs(x));
  }
  EXPECT_NEAR(sum / 600, 0.0, 0.24);
  EXPECT_NEAR(std::sqrt(squares / 600), 1.155, 0.15);
  EXPECT_LE(most, 2.0 + 1e-6);
  EXPECT_GT(most, 1.9);
}

// The same edges whichever way the rotor comes, however often time is cut, and others for another
// seed: an edge's jitter is a matter of its place. 1 ps at 100 rad/s is 6e-9 deg.
TEST(HallJitter, BelongsToTheEdgesPlaceAndTheSeed) {
  DriveParameters d = halls(2.0);
  StartState start;
  start.theta_m_rad = 1.0 * deg;
  Drive once(d), often(d);
  once.start(start);
  often.start(start);
  const auto forward = turn(once, 100.0, 10.0 * two_pi);
  auto back = turn(once, -100.0, 10.0 * two_pi);
  std::reverse(back.begin(), back.end());
  ASSERT_EQ(forward.size(), 60U);
  ASSERT_EQ(back.size(), 60U);
  for (std::size_t k = 0; k < 60; ++k) {
    EXPECT_EQ(forward[k].line, back[k].line);
    EXPECT_NE(forward[k].high, back[k].high);
    EXPECT_NEAR(forward[k].theta_m_rad, back[k].theta_m_rad, 1e-9);
  }
  std::vector<Seen> cut;
  for (int k = 0; k < 1000; ++k)
    for (const Seen& e : turn(often, 100.0, 0.01 * two_pi)) cut.push_back(e);
  ASSERT_EQ(cut.size(), 60U);
  for (std::size_t k = 0; k < 60; ++k)
    EXPECT_NEAR(forward[k].theta_m_rad, cut[k].theta_m_rad, 1e-9);
  d.seed = 2;
  Drive other(d);
  other.start(start);
  EXPECT_GT(std::abs(turn(other, 100.0, 0.25 * two_pi)[0].theta_m_rad - forward[0].theta_m_rad),
            1e-6);
}

TEST(HallJitter, StartsWithTheLevelsOfTheJitteredEdges) {
  // Wherever the rotor starts, a turn brings each line up once and down once.
  for (int k = 0; k < 360; ++k) {
    Drive drive(halls(10.0));
    StartState start;
    start.theta_m_rad = (k + 0.5) * deg;
    drive.start(start);
    int rises[3] = {}, falls[3] = {};
    for (const Seen& e : turn(drive, 100.0, 3.0 * two_pi))
      ++(e.high ? rises : falls)[static_cast<int>(e.line)];
    for (int line = 0; line < 3; ++line) {
      EXPECT_NEAR(rises[line], 3, 1) << k;
      EXPECT_LE(std::abs(rises[line] - falls[line]), 1) << k;
    }
  }
}

// U's rising place is at -90 deg, and with 20 deg of hysteresis it rises at -80 when turning
// forward: a rotor that starts in between has come forward, and its edge is still to come.
TEST(HallHysteresis, StartsAsIfTheRotorHadComeForward) {
  DriveParameters d = halls(0.0);
  d.hall.hysteresis_rad = 20.0 * deg;
  Drive drive(d);
  drive.start({.theta_m_rad = -85.0 * deg});
  EXPECT_FALSE(drive.level(SensorLine::hall_U));
  const auto seen = turn(drive, 100.0, 10.0 * deg);
  ASSERT_EQ(seen.size(), 1U);
  EXPECT_EQ(seen[0].line, SensorLine::hall_U);
  EXPECT_TRUE(seen[0].high);
  EXPECT_NEAR(seen[0].theta_m_rad / deg, -80.0, 1e-6);
}

// A switch that is displaced by 60 deg has its edge behind the rotor and due at once, whichever way
// it turns: no time before it is quiet.
TEST(HallShift, LeavesNoQuietTimeBeforeAnEdgeThatIsDue) {
  for (const double omega : {100.0, -100.0})
    for (const double shift_deg : {60.0, -60.0}) {
      Drive drive(halls(0.0));
      drive.start({.omega_m_rad_s = omega, .theta_m_rad = (shift_deg > 0.0 ? -50.0 : 50.0) * deg});
      drive.hold_speed_rad_s({omega, 0.0});
      ASSERT_GT(drive.quiet_until(1'000'000), 0);
      drive.set_hall_shift_rad(Leg::U, shift_deg * deg);
      EXPECT_EQ(drive.quiet_until(1'000'000), 0) << omega << " " << shift_deg;
      const auto stop = drive.advance(1'000'000);
      EXPECT_TRUE(stop.edge);
      EXPECT_EQ(drive.state().time_ps, 0);
    }
}

DriveParameters encoder(int lines) {
  DriveParameters d;
  d.machine.pole_pairs = 1;
  d.encoder.fitted = true;
  d.encoder.lines = lines;
  return d;
}

int edges_of(const std::vector<Seen>& seen, SensorLine line) {
  return static_cast<int>(
      std::count_if(seen.begin(), seen.end(), [&](const Seen& e) { return e.line == line; }));
}

// By hand: 100 lines, lines 0, 7, 8 and 99 gone: 96 pulses a turn on A and B, in both directions;
// line 0 and 99 being neighbours across the index. The true count comes back to where it was.
TEST(EncoderMissingLines, GiveNoPulseEitherWay) {
  DriveParameters d = encoder(100);
  d.encoder.missing_lines = {99, 7, 0, 8};
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 0.3;
  drive.start(start);
  for (const double direction : {1.0, -1.0}) {
    const auto seen = turn(drive, direction * 50.0, 5.0 * two_pi);
    EXPECT_EQ(edges_of(seen, SensorLine::encoder_A), 5 * 2 * 96);
    EXPECT_EQ(edges_of(seen, SensorLine::encoder_B), 5 * 2 * 96);
    EXPECT_EQ(edges_of(seen, SensorLine::encoder_Z), 5 * 2);
    for (const Seen& e : seen) {
      if (e.line == SensorLine::encoder_Z) continue;
      double line = e.theta_m_rad / two_pi * 100.0;
      line -= 100.0 * std::floor(line / 100.0);
      // Edges lie a quarter of a line apart, the last at a line's end; nothing inside 7 and 8.
      EXPECT_FALSE(line > 7.1 && line < 8.9) << line;
      EXPECT_FALSE(line > 99.1 || (line > 0.1 && line < 0.9)) << line;
    }
  }
}

// Eight lines, the fourth missing: over its counts 12 to 15 both channels stay low. At count 14 the
// disc slips back by two, to count 12, where they are low as well: nothing is to be seen.
TEST(EncoderMissingLines, SlipOnTheMissingLineIsNotSeen) {
  DriveParameters d;
  d.machine.pole_pairs = 1;
  d.encoder = {.fitted = true, .lines = 8, .missing_lines = {3}};
  Drive drive(d);
  drive.start({.theta_m_rad = 11.5 / 32.0 * two_pi});
  turn(drive, 100.0, 3.0 / 32.0 * two_pi);
  ASSERT_FALSE(drive.level(SensorLine::encoder_A) || drive.level(SensorLine::encoder_B));
  drive.slip_encoder(-2);
  EXPECT_FALSE(drive.advance(drive.state().time_ps).edge);
  EXPECT_EQ(drive.state().encoder_count, 14);
}

TEST(EncoderMissingLines, AnEncoderWithoutAnyLineStandsStill) {
  DriveParameters d = encoder(4);
  d.encoder.missing_lines = {0, 1, 2, 3};
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 3.0;  // away from the index
  drive.start(start);
  const auto seen = turn(drive, 50.0, 3.0 * two_pi);
  EXPECT_EQ(edges_of(seen, SensorLine::encoder_A) + edges_of(seen, SensorLine::encoder_B), 0);
  EXPECT_EQ(edges_of(seen, SensorLine::encoder_Z), 6);
}

// By hand: of 400 counts the index is high for 1, 2 or 4, from the count that holds its angle on:
// 100 counts at 90 deg.
TEST(EncoderIndex, IsAsWideAsItsCounts) {
  for (const int counts : {1, 2, 4}) {
    DriveParameters d = encoder(100);
    d.encoder.index_rad = 0.25 * two_pi + 1e-6;
    d.encoder.index_counts = counts;
    Drive drive(d);
    std::vector<double> at;
    for (const Seen& e : turn(drive, 50.0, two_pi))
      if (e.line == SensorLine::encoder_Z) at.push_back(e.theta_m_rad / two_pi * 400.0);
    ASSERT_EQ(at.size(), 2U);
    EXPECT_NEAR(at[0], 100.0, 1e-6);
    EXPECT_NEAR(at[1], 100.0 + counts, 1e-6);
  }
}

// Forward, a rising A meets B low; reversed it meets B high.
TEST(EncoderDirection, ReversedMakesBLead) {
  for (const bool reversed : {false, true}) {
    DriveParameters d = encoder(100);
    d.encoder.reversed = reversed;
    Drive drive(d);
    drive.hold_speed_rad_s({50.0, 0.0});
    int rises = 0;
    for (auto stop = drive.advance(100'000'000'000); stop.edge;
         stop = drive.advance(100'000'000'000)) {
      if (stop.what.line != SensorLine::encoder_A || !stop.what.high) continue;
      EXPECT_EQ(drive.level(SensorLine::encoder_B), reversed);
      ++rises;
    }
    EXPECT_GT(rises, 50);
  }
}

}  // namespace
}  // namespace stillrotor::plant
