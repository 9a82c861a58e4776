// Noise, sine and cosine, current paths: each imperfection by hand.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "plant/sensors/current.hpp"
#include "plant/sensors/sin_cos.hpp"
#include "plant/sensors/voltage.hpp"

namespace stillrotor::plant {
namespace {

constexpr double deg = pi / 180.0;

// Mean and deviation of 100,000 independent normal numbers: 0 +- 0.0032 (one sigma) and
// 1 +- 0.0022; allowed five sigma. Neighbours are not alike: correlation 0 +- 0.0032.
TEST(Noise, IsNormalWhiteAndItsOwnForEachSignal) {
  constexpr int n = 100'000;
  double sum = 0.0, squares = 0.0, neighbours = 0.0, others = 0.0, before = 0.0;
  for (int k = 0; k < n; ++k) {
    const double x = normal_noise(7, NoiseOf::phase_current_U, k);
    sum += x;
    squares += x * x;
    neighbours += x * before;
    others += x * normal_noise(7, NoiseOf::phase_current_V, k);
    before = x;
  }
  EXPECT_NEAR(sum / n, 0.0, 0.016);
  EXPECT_NEAR(std::sqrt(squares / n), 1.0, 0.011);
  EXPECT_NEAR(neighbours / n, 0.0, 0.016);
  EXPECT_NEAR(others / n, 0.0, 0.016);
}

// Even spread over -1 to 1: mean 0, deviation 1 / sqrt 3; five sigma of 100,000.
// Against the C library. Tolerance: the series' remainders.
TEST(Noise, LogarithmAndCosineAreThoseOfTheLibrary) {
  for (int k = 1; k <= 100'000; ++k) {
    const double x = 1e-5 * k;
    ASSERT_NEAR(log_of_share(x), std::log(x), 2e-12) << x;
    ASSERT_NEAR(cosine_of_turns(x), std::cos(two_pi * x), 1e-13) << x;
  }
  for (int e = 1; e <= 53; ++e) {
    const double x = std::ldexp(1.0, -e);
    EXPECT_NEAR(log_of_share(x), std::log(x), 2e-12);
    EXPECT_NEAR(log_of_share(std::nextafter(x, 1.0)), std::log(x), 2e-12);
    EXPECT_NEAR(cosine_of_turns(x), std::cos(two_pi * x), 1e-13);
  }
  EXPECT_EQ(log_of_share(1.0), 0.0);
}

TEST(Noise, EvenNoiseFillsItsRange) {
  constexpr int n = 100'000;
  double sum = 0.0, squares = 0.0, most = 0.0;
  for (int k = 0; k < n; ++k) {
    const double x = even_noise(3, NoiseOf::hall_U, k);
    sum += x;
    squares += x * x;
    most = std::max(most, std::abs(x));
  }
  EXPECT_NEAR(sum / n, 0.0, 0.0092);
  EXPECT_NEAR(squares / n, 1.0 / 3.0, 0.0048);
  EXPECT_LE(most, 1.0);
  EXPECT_GT(most, 0.999);
}

TEST(SinCos, TurnsWithThePeriodsOfTheTurn) {
  SinCosParameters par;
  par.periods_per_turn = 8;
  for (const double theta : {0.0, 0.1, 1.0, 5.0}) {
    EXPECT_NEAR(sine_sense_V(par, theta, 0, 1), 2.5 + 0.5 * std::sin(8 * theta), 1e-12);
    EXPECT_NEAR(cosine_sense_V(par, theta, 0, 1), 2.5 + 0.5 * std::cos(8 * theta), 1e-12);
  }
}

// By hand at u = 0: sine shows its offset alone, 2.5 + 0.02; cosine 2.5 - 0.03 + 0.5 * 0.9 * cos 2
// deg. At 90 deg: sine 2.52 + 0.5 * 1.1 and cosine 2.47 + 0.45 cos 92 deg.
TEST(SinCos, HasOffsetGainAndPhaseErrorsOfItsOwnChannels) {
  SinCosParameters par;
  par.offset_error_V[0] = 0.02;
  par.offset_error_V[1] = -0.03;
  par.gain_error[0] = 0.1;
  par.gain_error[1] = -0.1;
  par.phase_error_rad = 2.0 * deg;
  EXPECT_NEAR(sine_sense_V(par, 0.0, 0, 1), 2.52, 1e-12);
  EXPECT_NEAR(cosine_sense_V(par, 0.0, 0, 1), 2.47 + 0.45 * std::cos(2.0 * deg), 1e-12);
  EXPECT_NEAR(sine_sense_V(par, 90.0 * deg, 0, 1), 2.52 + 0.55, 1e-12);
  EXPECT_NEAR(cosine_sense_V(par, 90.0 * deg, 0, 1), 2.47 + 0.45 * std::cos(92.0 * deg), 1e-12);
}

// By hand at 45 deg: sin 45 + h2 sin 90 + h3 sin 135 = 0.70711 (1 + h3) + h2.
TEST(SinCos, CarriesSecondAndThirdHarmonics) {
  SinCosParameters par;
  par.second_harmonic = 0.03;
  par.third_harmonic = 0.02;
  EXPECT_NEAR(sine_sense_V(par, 45.0 * deg, 0, 1), 2.5 + 0.5 * (std::sqrt(0.5) * 1.02 + 0.03),
              1e-12);
}

TEST(SinCos, IsClippedAtItsLimits) {
  SinCosParameters par;
  par.amplitude_V = 4.0;
  EXPECT_EQ(sine_sense_V(par, 90.0 * deg, 0, 1), 5.0);
  EXPECT_EQ(sine_sense_V(par, 270.0 * deg, 0, 1), 0.0);
}

/// The sensor's output after the current has gone slowly (all lags settled) through these values.
double settled(const CurrentSensorParameters& par, std::initializer_list<double> currents_A) {
  const CurrentPath path(par);
  SeenCurrent seen;
  double from = 0.0;
  for (const double to : currents_A) {
    for (int k = 0; k < 100; ++k)
      path.step(seen, 0, from + (to - from) * k / 100, from + (to - from) * (k + 1) / 100, 1.0,
                LagStep(1.0 * path.rate_per_s()));
    path.step(seen, 0, to, to, 1.0, LagStep(1.0 * path.rate_per_s()));
    from = to;
  }
  return seen.output_A;
}

// By hand: width 2 A: half of it behind, on the way up and on the way down; a turn of less than the
// width does not show.
TEST(CurrentPath, HysteresisFollowsHalfItsWidthBehind) {
  CurrentSensorParameters par;
  par.hysteresis_A = 2.0;
  EXPECT_NEAR(settled(par, {10.0}), 9.0, 1e-9);
  EXPECT_NEAR(settled(par, {10.0, 8.5}), 9.0, 1e-9);
  EXPECT_NEAR(settled(par, {10.0, 5.0}), 6.0, 1e-9);
  EXPECT_NEAR(settled(par, {10.0, 0.0}), 1.0, 1e-9);
}

// By hand: a current that jumps to 10 A has moved the play to 9 A at once; after one time constant
// the output is 9 (1 - 1/e).
TEST(CurrentPath, HysteresisMovesWithAJumpAtOnce) {
  CurrentSensorParameters par;
  par.hysteresis_A = 2.0;
  const CurrentPath path(par);
  SeenCurrent seen;
  path.step(seen, 0, 10.0, 10.0, 1.0 / path.rate_per_s(), LagStep(1.0));
  EXPECT_NEAR(seen.output_A, 9.0 * (1.0 - std::exp(-1.0)), 1e-9);
}

// By hand: a ramp of 4 A/us takes up half the width, 1 A, in 0.25 us; what follows is a ramp of
// 0.75 us, behind which a lag of tau ends at 4 A/us (T - tau (1 - exp(-T / tau))). And back down:
// 2 A of width in 0.5 us, then 0.5 us of ramp.
TEST(CurrentPath, HysteresisIsTakenUpWithinAStep) {
  CurrentSensorParameters par;
  par.hysteresis_A = 2.0;
  const CurrentPath path(par);
  const double rate = path.rate_per_s(), tau = 1.0 / rate;
  SeenCurrent seen;
  path.step(seen, 0, 0.0, 4.0, 1e-6, LagStep(1e-6 * rate));
  const double up = 4e6 * (0.75e-6 - tau * (1.0 - std::exp(-0.75e-6 * rate)));
  EXPECT_NEAR(seen.output_A, up, 1e-12);
  EXPECT_EQ(seen.played_A, 3.0);
  path.step(seen, 0, 4.0, 0.0, 1e-6, LagStep(1e-6 * rate));
  const double stood = 3.0 + (up - 3.0) * std::exp(-0.5e-6 * rate), down = std::exp(-0.5e-6 * rate);
  EXPECT_NEAR(seen.output_A, 3.0 + (stood - 3.0) * down - 4e6 * (0.5e-6 - tau * (1.0 - down)),
              1e-12);
}

// A current that rests but for rounding, three halves of the play's last digit, which rounds to two
// of them or to one by whether the play is even: no share of the step is longer than the step. The
// output goes on to what stands behind the play.
TEST(CurrentPath, HysteresisIsNotTakenUpByRounding) {
  CurrentSensorParameters par;
  par.slew_V_per_s = 1e6;
  const double digit = std::numeric_limits<double>::epsilon();  // of numbers from 1 to 2
  for (const double half_A : {1.5, 1.5 + digit}) {
    par.hysteresis_A = 2.0 * half_A;
    const CurrentPath path(par);
    const LagStep lag(1e-7 * path.rate_per_s());
    SeenCurrent seen{half_A + 3.0 * digit, 2.0};
    path.step(seen, 0, 3.0 * digit, 1.5 * digit, 1e-7, lag);
    EXPECT_NEAR(seen.output_A, half_A + (2.0 - half_A) * lag.decay, 1e-9);
  }
}

// By hand: 4 % at 50 A: 50 reads 48; at 25 A an eighth of 2 A: 0.25 less.
TEST(CurrentPath, CompressionGrowsWithTheCube) {
  CurrentSensorParameters par;
  par.compression = 0.04;
  par.full_scale_A = 50.0;
  EXPECT_NEAR(settled(par, {50.0}), 48.0, 1e-9);
  EXPECT_NEAR(settled(par, {25.0}), 24.75, 1e-9);
  EXPECT_NEAR(settled(par, {-50.0}), -48.0, 1e-9);
}

// By hand: 0.02 V/A and 1 V/us: 50 A/us. A step of 100 A (2 V) after 1 us: 50 A, while the lag of
// 16 ns would long have settled.
TEST(CurrentPath, OutputSlewsNoFasterThanItsLimit) {
  CurrentSensorParameters par;
  par.bandwidth_Hz = 10e6;
  par.slew_V_per_s = 1e6;
  const CurrentPath path(par);
  SeenCurrent seen;
  path.step(seen, 0, 100.0, 100.0, 1e-6, LagStep(1e-6 * path.rate_per_s()));
  EXPECT_NEAR(seen.output_A, 50.0, 1e-9);
}

// By hand: 2.5 + 0.02 * 10 = 2.7; drift of 1 mV/s after 2 s: 2 mV; clipped at 5 V and 0 V.
TEST(CurrentVolts, AreOffsetDriftAndGainWithinTheLimits) {
  CurrentSensorParameters par;
  const auto volts = [&](double amperes, double seconds) {
    return current_sense_V(par, 0, amperes, static_cast<std::int64_t>(seconds * 1e12), 1,
                           NoiseOf::phase_current_U);
  };
  EXPECT_NEAR(volts(10.0, 2.0), 2.7, 1e-12);
  par.offset_drift_V_per_s = 1e-3;
  EXPECT_NEAR(volts(10.0, 2.0), 2.702, 1e-12);
  EXPECT_EQ(volts(1000.0, 0.0), 5.0);
  EXPECT_EQ(volts(-1000.0, 0.0), 0.0);
}

// Deviation of 10,000 readings a microsecond apart: 5 mV +- 0.035 (one sigma); allowed five. Two
// readings at one moment are the same.
TEST(CurrentVolts, NoiseHasItsRmsAndBelongsToTheMoment) {
  CurrentSensorParameters par;
  par.noise_V = 5e-3;
  const auto volts = [&](std::int64_t t_ps) {
    return current_sense_V(par, 0, 0.0, t_ps, 42, NoiseOf::phase_current_U);
  };
  double squares = 0.0;
  for (int k = 0; k < 10'000; ++k) squares += std::pow(volts(k * 1'000'000LL) - 2.5, 2);
  EXPECT_NEAR(std::sqrt(squares / 10'000), 5e-3, 0.18e-3);
  EXPECT_EQ(volts(123'456'789), volts(123'456'789));
  EXPECT_NE(volts(123'456'789), volts(124'456'789));
}

TEST(VoltageDivider, ClipsAtItsLimits) {
  const VoltageSensorParameters par{.fitted = true, .ratio = 0.05, .high_limit_V = 3.3};
  EXPECT_NEAR(voltage_sense_V(par, 48.0), 2.4, 1e-12);
  EXPECT_EQ(voltage_sense_V(par, 100.0), 3.3);
  EXPECT_EQ(voltage_sense_V(par, -1.0), 0.0);
}

}  // namespace
}  // namespace stillrotor::plant
