// All gates off: the machine as a generator behind its six diodes.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;
using plant::sqrt3;

// Continuous conduction into a stiff bus, R = 0, sine EMF of peak E, L_d = L_q = L.
// Every terminal is at V_dc + V_f or at -V_f by the sign of its current, so with
// V = V_dc + 2 V_f the phase voltage is the six-step wave V/3, 2V/3, V/3 (60 deg each), in phase
// with the delivered current j. Let j rise through zero at x = 0 and e = E sin(x + phi):
//   w L j(x) = integral from 0 to x of (e - v).
// Half-wave symmetry, j(pi) = 0: 2 E cos phi = (pi/3)(4/3) V, so cos phi = 2 pi V / (9 E).
// Mean bus current = (3/2pi) * integral of j over the half turn. In it the terms E pi cos phi and
// the double integral of v, (pi/2)(4 pi/9) V, cancel; what remains is 2 E sin phi:
//   I_dc = 3 / (pi w L) * sqrt(E^2 - (2 pi V/9)^2),   T = -V I_dc / omega_m.
// Source: derived; the machine: Jahns & Caliskan 1999, the rectifier with constant-voltage load:
// Caliskan, Perreault, Jahns & Kassakian 2003, both from memory.
// Tolerance: 2 micro-ohm against w L = 0.6 ohm disturb by a few 1e-6; mean over whole pulses.
TEST(Rectifier, ContinuousConductionDeliversExactMeanCurrent) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1e-6;
  p.bridge.diode_resistance_ohm = 1e-6;
  const double v = p.supply.voltage_V + 2.0 * p.bridge.diode_voltage_V;
  for (const double e : {0.9 * v, 1.1 * v, 1.6 * v}) {
    const double w = e / p.machine.flux_linkage_Wb;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, w);
    const double turn_s = plant::two_pi / w;
    advance_by(drive, 400.0 * turn_s);
    Integrals sums(drive, 2, [](double, const plant::Snapshot& s, double* out) {
      out[0] = -s.bridge_A;
      out[1] = s.torque_Nm;
    });
    advance_by(drive, 20.0 * turn_s, &sums);
    const double expected = 3.0 / (pi * w * p.machine.inductance_d_H) *
                            std::sqrt(e * e - std::pow(2.0 * pi * v / 9.0, 2));
    EXPECT_NEAR(sums.mean(0) / expected, 1.0, 2e-5) << "E/V = " << e / v;
    EXPECT_NEAR(sums.mean(1) / (-v * expected * p.machine.pole_pairs / w), 1.0, 2e-5)
        << "E/V = " << e / v;
  }
}

/// Largest phase current within one electrical turn, all gates off.
double rectified_peak_A(const plant::DriveParameters& p, double omega_e) {
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, omega_e);
  double peak = 0.0;
  EachStep look([&](const plant::Segment& s) {
    peak = std::max({peak, std::abs(s.begin->i_alpha_A), std::abs(s.begin->i_beta_A),
                     std::abs(s.end->i_alpha_A), std::abs(s.end->i_beta_A)});
  });
  advance_by(drive, plant::two_pi / omega_e, &look);
  return peak;
}

// Diodes begin when the largest line EMF meets V_dc + 2 V_f; sine: sqrt(3) w psi. Derived.
// Bracket 1e-4 of the speed: silent below, conducting above.
TEST(Rectifier, SineMachineStartsWhereLineEmfMeetsBusAndTwoDiodes) {
  plant::DriveParameters p = stiff_drive();
  const double onset =
      (p.supply.voltage_V + 2.0 * p.bridge.diode_voltage_V) / (sqrt3 * p.machine.flux_linkage_Wb);
  EXPECT_EQ(rectified_peak_A(p, onset * (1.0 - 1e-4)), 0.0);
  EXPECT_GT(rectified_peak_A(p, onset * (1.0 + 1e-4)), 0.0);
}

/// Largest line EMF over w psi, from the harmonics themselves on a fine grid.
double largest_line_emf(const std::vector<plant::BackEmfHarmonic>& harmonics) {
  double most = 0.0;
  const int points = 200000;
  for (int n = 0; n < points; ++n) {
    const double x = plant::two_pi * n / points;
    double u = 0.0, v = 0.0;
    for (const auto& h : harmonics) {
      u += h.ratio * std::sin(h.order * x);
      v += h.ratio * std::sin(h.order * (x - plant::two_pi / 3.0));
    }
    most = std::max(most, std::abs(u - v));
  }
  return most;
}

// Flat trapezoid of height E (120 deg flat): two flats overlap for 60 deg, line EMF 2 E, so
// 2 E = V_dc + 2 V_f. The machine holds orders up to N = 97. A trapezoid of height 1 with 30 deg
// flanks is sum 24/(pi^2 n^2) sin(30 deg n) sin(n x), odd n; in the line EMF triplens drop out and
// every other order counts sqrt(3) * 12/(pi^2 n^2). Left out above N (6k +- 1 only):
//   sqrt(3) * 12/pi^2 * 1/(3 N) = 0.702/N of E, that is at most 0.36 % of 2 E.
// The series' own onset is known from its largest value: bracket 1e-4 again.
TEST(Rectifier, TrapezoidMachineStartsWhereTwiceFlatTopMeetsBusAndTwoDiodes) {
  const int top = 97;
  plant::DriveParameters p = stiff_trapezoid(120.0, top);
  const double need = p.supply.voltage_V + 2.0 * p.bridge.diode_voltage_V;
  const double psi = p.machine.flux_linkage_Wb;
  const double flat = plant::trapezoid_flat_over_fundamental(120.0);
  const double series = largest_line_emf(p.machine.back_emf);
  EXPECT_NEAR(series / (2.0 * flat), 1.0, 0.351 / top);
  const double onset = need / (series * psi);
  EXPECT_EQ(rectified_peak_A(p, onset * (1.0 - 1e-4)), 0.0);
  EXPECT_GT(rectified_peak_A(p, onset * (1.0 + 1e-4)), 0.0);
}

}  // namespace
}  // namespace stillrotor::reference
