// Linear limits of pulse-width modulation, from the plant's leg potentials.
// Source: textbook, from memory. Naturally sampled double-edge PWM reproduces its reference in the
// base band without error; the nearest carrier sidebands that could fall on the fundamental are
// Bessel terms of order 199 (carrier ratio 200), which vanish in double precision.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

constexpr double fundamental_Hz = 50.0;
constexpr int ratio = 200;

enum class Injection { none, min_max, third_harmonic };

/// Fundamental of leg U over the bus voltage, switch drop added back.
double leg_fundamental(double depth, Injection injection) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 5.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 10e-3;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  const double w = plant::two_pi * fundamental_Hz;
  const auto reference = [&](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = depth * std::cos(w * t - k * plant::two_pi / 3.0);
    double shift = 0.0;
    if (injection == Injection::min_max)
      shift =
          -0.5 * (*std::min_element(r.begin(), r.end()) + *std::max_element(r.begin(), r.end()));
    if (injection == Injection::third_harmonic) shift = -depth / 6.0 * std::cos(3.0 * w * t);
    for (double& x : r) x += shift;
    return r;
  };
  const auto edges = natural_pwm_edges({reference, ratio * fundamental_Hz, 0.0}, ratio);
  Integrals sums(drive, 2, [&](double t, const plant::Snapshot& s, double* out) {
    const double leg =
        (s.terminal_V.U + p.bridge.switch_on_resistance_ohm * s.current_A.U) / s.bus_V;
    out[0] = leg * std::cos(w * t);
    out[1] = leg * std::sin(w * t);
  });
  replay(drive, edges, 0, ps(1.0 / fundamental_Hz), &sums);
  return 2.0 * std::hypot(sums.mean(0), sums.mean(1));
}

// Tolerance: 400 edges rounded to 1 ps (0.29 ps rms) in 20 ms: 2/T * 0.29 ps * sqrt(400) = 6e-10.
TEST(PwmLimit, SineTriangleReachesHalfTheBus) {
  EXPECT_NEAR(leg_fundamental(1.0, Injection::none), 0.5, 3e-9);
  EXPECT_NEAR(leg_fundamental(0.6, Injection::none), 0.3, 3e-9);
}

// A sixth of third harmonic flattens the reference to a peak of sqrt(3)/2. Tolerance as above.
TEST(PwmLimit, ThirdHarmonicInjectionReachesBusOverRootThree) {
  EXPECT_NEAR(leg_fundamental(2.0 / plant::sqrt3, Injection::third_harmonic), 1.0 / plant::sqrt3,
              3e-9);
}

// Space-vector modulation is sine-triangle with min-max injection. Its reference has corners, so
// harmonics of the reference fall off as 1/n^2 and the sidebands of order 199 around the carrier as
// 1/199^2 of the corner (slope step about 1.5 depth per rad): bound 2/pi * 1.7/199^2 = 3e-5.
TEST(PwmLimit, SpaceVectorReachesBusOverRootThree) {
  EXPECT_NEAR(leg_fundamental(2.0 / plant::sqrt3, Injection::min_max), 1.0 / plant::sqrt3, 3e-5);
}

// Control: beyond the limit the reference is clipped. Fundamental of a clipped sine of height
// m > 1: (2/pi)(m asin(1/m) + sqrt(1 - 1/m^2)). At m = 1.2 that is 1.1045, not 1.2.
// Tolerance: one carrier period decides where clipping starts, (1/200)^2 = 2.5e-5 of the corner.
TEST(PwmLimit, SineTriangleFallsShortBeyondTheLimit) {
  const double m = 1.2;
  const double clipped =
      2.0 / plant::pi * (m * std::asin(1.0 / m) + std::sqrt(1.0 - 1.0 / (m * m)));
  EXPECT_NEAR(2.0 * leg_fundamental(m, Injection::none), clipped, 1e-3);
  EXPECT_LT(2.0 * leg_fundamental(m, Injection::none), m - 0.05);
}

}  // namespace
}  // namespace stillrotor::reference
