// First-order lag and slew limit against closed forms and a plain integration.
#include "plant/sensors/lag.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {
namespace {

using namespace plant;

// Source: textbook: step response 1 - exp(-t / tau), 63.2 % after one time constant.
TEST(Lag, StepResponseIsOneLessADecayingExponential) {
  for (const double x : {1e-7, 1e-4, 0.01, 0.5, 1.0, 3.0, 30.0, 300.0})
    EXPECT_NEAR(LagStep(x)(0.0, 1.0, 1.0), -std::expm1(-x), 2e-13) << x;
  EXPECT_NEAR(LagStep(1.0)(0.0, 1.0, 1.0), 0.632121, 1e-6);
}

// Source: textbook: ramp response a (t - tau (1 - exp(-t / tau))), tau 1. Tolerance: the lag's
// exponential is good to 1e-13, relative to a ramp that ends at x.
TEST(Lag, RampResponseTrailsByTheTimeConstant) {
  for (const double x : {1e-5, 1e-3, 0.1, 1.0, 10.0})
    EXPECT_NEAR(LagStep(x)(0.0, 0.0, x), x + std::expm1(-x), 1e-12 * std::max(x, 1e-3)) << x;
}

// However a stretch is cut, the end is the same: the law is exact. Tolerance: rounding of 1000
// steps.
TEST(Lag, IsTheSameInOneStepAndInAThousand) {
  double fine = 0.3;
  for (int k = 0; k < 1000; ++k) fine = LagStep(2e-3)(fine, 1.0 + 1e-3 * k, 1.0 + 1e-3 * (k + 1));
  EXPECT_NEAR(fine, LagStep(2.0)(0.3, 1.0, 2.0), 1e-10);
}

// Of each sensor its own, on dead times, gaps and steps beyond the voltages' time constants, asked
// for again in between; and with only one of the voltages filtered. Source and tolerance as above.
TEST(Lag, EachSensorOfADriveHasItsOwn) {
  for (const double terminal_per_s : {4e3, 0.0}) {
    const SensorLagSteps::Rates rates{750e3, 1.9e6, 10e3, terminal_per_s};
    SensorLagSteps lags(rates);
    for (const double length_s : {1e-6, 7e-6, 1e-6, 15e-6, 1.5e-6, 30e-6, 70e-6, 1e-3}) {
      const auto look = [&](const LagStep& lag, double per_s) {
        EXPECT_NEAR(lag(0.0, 1.0, 1.0), -std::expm1(-per_s * length_s), 2e-13)
            << per_s << ' ' << length_s;
      };
      for (const SensorLags* at : {&lags(length_s), &lags.of(length_s)}) {
        look(at->phase_current, rates.phase_current);
        look(at->dc_link_current, rates.dc_link_current);
        look(at->bus_V, rates.bus_V);
        if (terminal_per_s > 0.0) look(at->terminal_V, rates.terminal_V);
      }
    }
  }
}

/// dy/dt = clamp((a - y) / tau, +-slew) by one million Euler steps.
double integrated(double y, double a0, double a1, double length, double tau, double slew) {
  constexpr int steps = 1'000'000;
  const double dt = length / steps;
  for (int k = 0; k < steps; ++k) {
    const double a = a0 + (a1 - a0) * (k + 0.5) / steps;
    y += dt * std::clamp((a - y) / tau, -slew, slew);
  }
  return y;
}

// Tolerance: Euler's error, of the order of a step (1e-6) times the change.
TEST(SlewLimit, AgreesWithAPlainIntegration) {
  const double cases[][5] = {
      // y0, a0, a1, tau, slew; length 1
      {0, 1, 1, 0.1, 2.0},      // slews, then follows
      {0, 1, 1, 0.1, 0.5},      // slews all the way
      {0, 0, 0.3, 0.1, 2.0},    // never slews
      {0, 0, 3, 0.1, 1.0},      // follows, then slews behind
      {2, 0, 3, 0.05, 2.5},     // down, then behind a fast rise
      {0, 1, -2, 0.1, 2.0},     // turns round on the way
      {0.5, -1, -1, 0.2, 1.5},  // downward
      {0, 1, 9, 0.1, 2.0},      // behind already, and the input runs away
  };
  for (const auto& c : cases)
    EXPECT_NEAR(lagged_with_slew(c[0], c[1], c[2], 1.0, c[3], c[4]),
                integrated(c[0], c[1], c[2], 1.0, c[3], c[4]), 1e-5)
        << c[0] << " " << c[1] << " " << c[2];
}

// By hand: from 0 towards 1, tau 0.1, slew 2: slews 0.4 s to 0.8, where the lag itself makes
// (1 - 0.8) / 0.1 = 2; then 1 - 0.2 exp(-(t - 0.4) / 0.1); at 0.5 s 1 - 0.2 / e = 0.926424.
TEST(SlewLimit, StepIsARampAndThenTheLag) {
  EXPECT_NEAR(lagged_with_slew(0, 1, 1, 0.4, 0.1, 2.0), 0.8, 1e-12);
  EXPECT_NEAR(lagged_with_slew(0, 1, 1, 0.5, 0.1, 2.0), 0.926424, 1e-6);
}

}  // namespace
}  // namespace stillrotor::reference
