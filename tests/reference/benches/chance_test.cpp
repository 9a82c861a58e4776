// What the plant leaves to chance, at the connector: does it spread as its parameters say? Each
// sample is held against its law by the chi-square of equally likely classes, correlations and
// shares by five of their own standard errors. Seeds are fixed; of others, with a right plant, a
// few in a thousand would fail.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <vector>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

using plant::SensorChannel;
using plant::SensorLine;

/// Share of a normal law below x.
double normal(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }

/// Chi-square of 20 classes: 19 +- sqrt(2 * 19) = 6.2; beyond five of these above.
void expect_law(const std::vector<double>& sample, const std::function<double(double)>& below,
                const char* what) {
  constexpr int classes = 20;
  std::array<int, classes> found = {};
  for (const double x : sample) {
    const double share = below(x);
    ASSERT_TRUE(share >= 0.0 && share <= 1.0) << what;
    ++found[static_cast<std::size_t>(std::min(static_cast<int>(share * classes), classes - 1))];
  }
  const double each = static_cast<double>(sample.size()) / classes;
  double chi_square = 0.0;
  for (const int n : found) chi_square += (n - each) * (n - each) / each;
  EXPECT_LT(chi_square, 19.0 + 5.0 * 6.2) << what;
}

double correlation(const std::vector<double>& a, const std::vector<double>& b, std::size_t later) {
  double ab = 0.0, aa = 0.0, bb = 0.0;
  for (std::size_t k = later; k < a.size(); ++k) {
    ab += a[k] * b[k - later];
    aa += a[k] * a[k];
    bb += b[k] * b[k];
  }
  return ab / std::sqrt(aa * bb);
}

// Six channels with 5 mV rms each, read every microsecond: normal, white, each its own, and another
// seed's are others.
TEST(Chance, NoiseOfTheChannelsIsNormalWhiteAndTheirOwn) {
  constexpr double rms_V = 5e-3;
  constexpr int n = 20'000;
  plant::DriveParameters p = stiff_drive();
  p.shaft.hold = plant::Hold::locked;
  for (auto* sensor : {&p.phase_current, &p.dc_link_current}) sensor->noise_V = rms_V;
  p.phase_current.kind = plant::CurrentSensing::in_line;
  p.dc_link_current.kind = plant::CurrentSensing::dc_link;
  p.sin_cos.fitted = true;
  p.sin_cos.noise_V = rms_V;
  const SensorChannel channels[] = {SensorChannel::phase_current_U, SensorChannel::phase_current_V,
                                    SensorChannel::phase_current_W, SensorChannel::dc_link_current,
                                    SensorChannel::angle_sin,       SensorChannel::angle_cos};
  std::vector<std::vector<double>> seen;
  for (const std::uint64_t seed : {1, 2}) {
    p.seed = seed;
    plant::Drive drive(p);
    std::vector<std::vector<double>> of_seed(6);
    for (int k = 0; k < n; ++k) {
      advance_to(drive, drive.state().time_ps + 1'000'000);
      for (std::size_t c = 0; c < 6; ++c) {
        const double middle_V = channels[c] == SensorChannel::angle_cos ? 3.0 : 2.5;
        of_seed[c].push_back((drive.sense_V(channels[c]) - middle_V) / rms_V);
      }
    }
    seen.insert(seen.end(), of_seed.begin(), of_seed.end());
  }
  const double error = 5.0 / std::sqrt(n);
  for (std::size_t a = 0; a < seen.size(); ++a) {
    expect_law(seen[a], normal, "noise");
    EXPECT_LT(std::abs(correlation(seen[a], seen[a], 1)), error) << a;
    for (std::size_t b = 0; b < a; ++b)
      EXPECT_LT(std::abs(correlation(seen[a], seen[b], 0)), error) << a << " " << b;
  }
}

// Edges of each Hall over a thousand turns, off their places by an even spread of +-3 deg; rising
// and falling edges do not know of one another.
TEST(Chance, JitterOfTheHallsIsEvenAndTheEdgesOwn) {
  constexpr double degree = plant::pi / 180.0, most_rad = 3.0 * degree;
  constexpr std::size_t turns = 1000;
  plant::DriveParameters p = stiff_drive();
  p.machine.pole_pairs = 1;
  p.hall = {.fitted = true, .jitter_rad = most_rad};
  plant::Drive drive(p);
  drive.start({.omega_m_rad_s = 1000.0, .theta_m_rad = 0.01});
  hold_electrical(drive, 1000.0);
  std::array<std::vector<double>, 6> off;  // by line, rising and falling
  const std::int64_t end = ps(static_cast<double>(turns) * plant::two_pi / 1000.0);
  for (auto stop = drive.advance(end); stop.edge; stop = drive.advance(end)) {
    const int line = static_cast<int>(stop.what.line), falls = stop.what.high ? 0 : 1;
    const double place = (120.0 * line - 90.0 + 180.0 * falls) * degree;
    const double theta = drive.state().theta_e_rad;
    off[static_cast<std::size_t>(2 * line + falls)].push_back(
        std::remainder(theta - place, plant::two_pi) / most_rad);
  }
  for (auto& each : off) {
    ASSERT_GE(each.size(), turns - 1);
    each.resize(turns - 1);
    expect_law(
        each, [](double x) { return 0.5 * (x + 1.0); }, "jitter");
  }
  for (std::size_t a = 0; a < off.size(); ++a)
    for (std::size_t b = 0; b <= a; ++b)
      EXPECT_LT(std::abs(correlation(off[a], off[b], a == b ? 1 : 0)), 5.0 / std::sqrt(turns));
}

// Of 5000 lines 30 % are dirty, +- 0.65 % (one standard error): their pulses of A are not seen.
TEST(Chance, DirtHidesItsShareOfLines) {
  constexpr int lines = 5000;
  constexpr double share = 0.3;
  plant::DriveParameters p = stiff_drive();
  p.machine.pole_pairs = 1;
  p.encoder = {.fitted = true, .lines = lines};
  plant::Drive drive(p);
  drive.start({.omega_m_rad_s = 100.0});
  hold_electrical(drive, 100.0);
  drive.set_encoder_dirty_share(share);
  int seen = 0;
  const std::int64_t end = ps(plant::two_pi / 100.0);
  for (auto stop = drive.advance(end); stop.edge; stop = drive.advance(end))
    seen += stop.what.line == SensorLine::encoder_A && stop.what.high ? 1 : 0;
  EXPECT_NEAR(1.0 - static_cast<double>(seen) / lines, share,
              5.0 * std::sqrt(share * (1.0 - share) / lines));
}

// Frames of 14 bits at an angle whose code is 0, a fifth of the bits wrong: each bit by itself, so
// that many of a frame's ones are binomial: mean 2.8, variance 14 * 0.2 * 0.8 = 2.24.
TEST(Chance, BitsOfAClockedAngleArriveWrongOneByOne) {
  constexpr int frames = 3000, bits = 14;
  constexpr double share = 0.2;
  plant::DriveParameters p = stiff_drive();
  p.shaft.hold = plant::Hold::locked;
  p.absolute_angle.output = plant::AngleOutput::ssi;
  p.absolute_angle.bits = bits;
  p.absolute_angle.zero_rad = -1e-6;
  plant::Drive drive(p);
  drive.set_angle_clock(true);
  drive.set_angle_bit_errors(share);
  std::array<int, bits> wrong = {};
  double sum = 0.0, squares = 0.0;
  for (int n = 0; n < frames; ++n) {
    advance_by(drive, 30e-6);
    int ones = 0;
    for (std::size_t k = 0; k < bits; ++k) {
      drive.set_angle_clock(false);
      advance_by(drive, 0.5e-6);
      drive.set_angle_clock(true);
      advance_by(drive, 0.5e-6);
      const int one = drive.level(SensorLine::absolute_angle) ? 1 : 0;
      wrong[k] += one;
      ones += one;
    }
    sum += ones;
    squares += (ones - bits * share) * (ones - bits * share);
  }
  const double variance = bits * share * (1.0 - share);
  EXPECT_NEAR(sum / frames, bits * share, 5.0 * std::sqrt(variance / frames));
  // The variance's own standard error: near normal, sqrt(2 / n) of it.
  EXPECT_NEAR(squares / frames, variance, 5.0 * variance * std::sqrt(2.0 / frames));
  for (const int each : wrong)
    EXPECT_NEAR(static_cast<double>(each) / frames, share,
                5.0 * std::sqrt(share * (1.0 - share) / frames));
}

}  // namespace
}  // namespace stillrotor::reference
