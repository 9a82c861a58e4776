// Torque of ideal currents: shape, constants, ripple of each pairing.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;
using plant::sqrt3;

double torque_at(plant::Drive& drive, double theta, const plant::AlphaBeta& i) {
  place(drive, theta, i);
  return drive.snapshot().torque_Nm;
}
plant::AlphaBeta vector(double length, double angle) {
  return {length * std::cos(angle), length * std::sin(angle)};
}

// Most torque per ampere: i_d = [psi - sqrt(psi^2 + 8 (L_q - L_d)^2 I^2)] / (4 (L_q - L_d)).
// Source: textbook, from memory; it solves dT/dgamma = 0 of T = 1.5 p (psi i_q + (L_d - L_q) i_d
// i_q). The plant's own maximum: coarse grid, then the zero of a central difference of its torque.
// Tolerance: the difference of step 1e-4 rad is off by 2e-9; 7e-7 leaves its rounding.
TEST(Torque, MostPerAmpereLiesAtTheTextbookAngle) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_d_H = 150e-6;
  p.machine.inductance_q_H = 400e-6;
  plant::Drive drive(p);
  drive.start();
  const double dl = 250e-6, psi = p.machine.flux_linkage_Wb, theta = 0.3;
  for (const double i : {5.0, 20.0, 80.0}) {
    const auto torque = [&](double gamma) {
      return torque_at(drive, theta, vector(i, theta + gamma));
    };
    double best = 0.0;
    for (int n = 0; n < 360; ++n)
      if (torque(n * pi / 180.0) > torque(best)) best = n * pi / 180.0;
    const double h = 1e-4;
    const auto slope = [&](double gamma) { return torque(gamma + h) - torque(gamma - h); };
    double low = best - 0.02, high = best + 0.02;
    ASSERT_GT(slope(low), 0.0);
    for (int n = 0; n < 50; ++n)
      (slope(0.5 * (low + high)) > 0.0 ? low : high) = 0.5 * (low + high);
    const double i_d = (psi - std::sqrt(psi * psi + 8.0 * dl * dl * i * i)) / (4.0 * dl);
    EXPECT_NEAR(i * std::cos(low), i_d, 7e-7 * i) << "I = " << i;
    const double i_q = std::sqrt(i * i - i_d * i_d);
    EXPECT_NEAR(torque(low), 1.5 * p.machine.pole_pairs * (psi + -dl * i_d) * i_q, 1e-12);
  }
}

// Power through the air gap: sum e_k i_k = T omega_m, whatever the shape. Hence K_t = K_e.
// Sine, current on the q axis: T/i_q = 1.5 p psi; line EMF peak over omega_m is sqrt(3) p psi;
// their ratio sqrt(3)/2. By hand with p 4, psi 12 mWb: 72 mNm/A, 83.14 mV s/rad.
TEST(Torque, ConstantsOfSineMachineFitEachOther) {
  plant::Drive drive(stiff_drive());
  const double omega_m = 50.0;
  drive.start({omega_m, 0.0, -1.0});
  double line_peak = 0.0, torque = 0.0;
  for (int n = 0; n < 3600; ++n) {
    const double theta = n * plant::two_pi / 3600.0;
    torque = torque_at(drive, theta, vector(1.0, theta + 0.5 * pi));
    ASSERT_NEAR(torque, 0.072, 1e-15);
    const plant::Phases e = drive.snapshot().back_emf_V;
    line_peak = std::max(line_peak, e.U - e.V);
  }
  EXPECT_NEAR(line_peak / omega_m, sqrt3 * 4.0 * 12e-3, 1e-15);
  EXPECT_NEAR(torque / (line_peak / omega_m), 0.5 * sqrt3, 1e-13);
}

// Trapezoid: with one ampere through two flats T = 2 E/omega_m = K_e of the line. The plant's own
// EMF must give its torque at every angle, and mid-sector both must be the flat top's.
// Tolerance: air-gap power is an identity of the same shape (rounding); the flat top lacks orders
// above 99: 30 deg from the corners less than 24/(pi^2 99^2 0.52) = 5e-4.
TEST(Torque, ConstantsOfTrapezoidMachineFitEachOther) {
  plant::Drive drive(stiff_trapezoid(120.0, 99));
  const double omega_m = 50.0;
  drive.start({omega_m, 0.0, -1.0});
  for (int n = 0; n < 720; ++n) {
    const double theta = n * plant::two_pi / 720.0;
    place(drive, theta, vector(2.0 / sqrt3, -pi / 6.0));  // +1 A in U, -1 A in V
    const plant::Snapshot s = drive.snapshot();
    ASSERT_NEAR(s.torque_Nm * omega_m, s.back_emf_V.U - s.back_emf_V.V, 1e-12);
  }
  const double torque = torque_at(drive, 240.0 * pi / 180.0, vector(2.0 / sqrt3, -pi / 6.0));
  const double flat = plant::trapezoid_flat_over_fundamental(120.0) * 4.0 * 12e-3;
  EXPECT_NEAR(torque / (2.0 * flat), 1.0, 5e-4);
}

// sum_n 24/(pi^2 n^2) sin(30 deg n) sin(n x): flat 1 over fundamental 12/pi^2 = 0.82247.
TEST(Torque, TrapezoidHasItsFourierSeries) {
  EXPECT_NEAR(plant::trapezoid_flat_over_fundamental(120.0), pi * pi / 12.0, 1e-14);
  for (const auto& h : plant::trapezoid_harmonics(120.0, 49))
    EXPECT_NEAR(h.ratio, 2.0 * std::sin(h.order * pi / 6.0) / (h.order * h.order), 1e-14)
        << "order " << h.order;
}

struct Ripple {
  double mean, peak_to_peak;
};
/// Over one electrical turn, `points` torques at the middles of equal steps plus the extremes.
Ripple ripple(const std::function<double(double)>& torque) {
  const int points = 72000;
  double sum = 0.0, least = 1e300, most = -1e300;
  for (int n = 0; n < points; ++n) {
    const double t = torque((n + 0.5) * plant::two_pi / points);
    sum += t / points;
    least = std::min(least, t);
    most = std::max(most, t);
  }
  return {sum, most - least};
}

// Six-step currents on a sine machine: within +-30 deg of its best angle a stationary current
// vector gives cos, so (1 - cos 30 deg)/(3/pi) = 14.03 %. Derived.
// Tolerance: the mean of 12,000 midpoints a sector is exact to 1e-9, the extremes lie half a step
// (4e-5 rad) from the corner: 2e-5 relative.
TEST(TorqueRipple, SixStepOnSineMachineIs14Percent) {
  plant::Drive drive(stiff_drive());
  drive.start();
  const Ripple r = ripple([&](double theta) {
    const double wanted = theta + 0.5 * pi;  // q axis
    const double step = std::round((wanted - pi / 6.0) / (pi / 3.0)) * pi / 3.0 + pi / 6.0;
    return torque_at(drive, theta, vector(2.0 / sqrt3, step));
  });
  const double expected = (1.0 - std::cos(pi / 6.0)) / (3.0 / pi);
  EXPECT_NEAR(expected, 0.1403, 5e-5);
  EXPECT_NEAR(r.peak_to_peak / r.mean, expected, 3e-5);
  EXPECT_GT(r.mean, 0.0);
}

// Sine currents of peak I on a 120-deg trapezoid of height E. Over the 60 deg where U stands on its
// flat, V on its own and W crosses zero, with y from the middle: T omega_m/(E I) =
//   sqrt(3) cos y + (y/30 deg) sin y, from sqrt(3) at y = 0 to 1.5 + 0.5 = 2 at 30 deg.
// Mean 1.5 * 12/pi^2 = 1.824; ripple (2 - 1.732)/1.824 = 14.7 %. Derived.
// The series' own ripple, summed here, must be met to the plant's interpolation (4e-7 of the EMF).
// The ideal one is met to what orders above 97 can do to either extreme, in E I:
//   1.5 * 12/pi^2 * sum of 1/n^2 over n = 6k +- 1 above 97 < 1.824/(3 * 97) = 0.0063.
TEST(TorqueRipple, SineCurrentsOnTrapezoidMachineAre15Percent) {
  plant::Drive drive(stiff_trapezoid(120.0, 97));
  drive.start();
  const double e_i = plant::trapezoid_flat_over_fundamental(120.0) * 12e-3 * 4.0;  // E I/omega_m
  const Ripple r =
      ripple([&](double theta) { return torque_at(drive, theta, vector(1.0, theta + 0.5 * pi)); });
  EXPECT_NEAR(r.mean / e_i, 1.824, 5e-4);
  EXPECT_NEAR(r.mean / e_i, 18.0 / (pi * pi), 1e-9);
  const Ripple series = ripple([&](double theta) {
    double sum = 0.0;
    for (int k = 0; k < 3; ++k) {
      const double x = theta - k * plant::two_pi / 3.0;
      for (int n = 1; n <= 97; n += 2)
        sum += 24.0 / (pi * pi * n * n) * std::sin(n * pi / 6.0) * std::sin(n * x) * std::sin(x);
    }
    return sum;
  });
  EXPECT_NEAR(r.peak_to_peak / e_i, series.peak_to_peak, 2e-6);
  EXPECT_NEAR(r.peak_to_peak / e_i, 2.0 - sqrt3, 2.0 * 0.0063);
  EXPECT_NEAR(r.peak_to_peak / r.mean, 0.147, 2.0 * 0.0063 / 1.824);
}

/// Loss of torque, as a share, when current I commutates from U to V while W carries it back.
double commutation_dip(double bus_over_flat) {
  // 150 deg flat: both U and V stand well inside their flats at the moment of commutation.
  plant::DriveParameters p = stiff_trapezoid(150.0, 99);
  p.machine.winding_resistance_ohm = 1e-9;
  p.bridge = {1e-9, 0.0, 1e-9};
  p.machine.inductance_d_H = p.machine.inductance_q_H = 20e-6;
  p.step_max_s = 0.1e-6;
  const double omega = 300.0;
  const double flat =
      omega * p.machine.flux_linkage_Wb * plant::trapezoid_flat_over_fundamental(150.0);
  p.supply.voltage_V = bus_over_flat * flat;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, omega);
  // e_U = -sin is positive on 180 .. 360 deg, e_V on 300 .. 480: they share 300 .. 360 and meet at
  // 330 deg, where e_W stands at its negative crest. There the six-step pattern goes from U-W
  // (vector 30 deg) to V-W (90 deg).
  const double current = 10.0;
  const double length = 2.0 * current / sqrt3;
  place(drive, 330.0 * pi / 180.0, vector(length, pi / 6.0));
  only_on(drive, {Switch::UH, Switch::WL});
  const double before = drive.snapshot().torque_Nm;
  only_on(drive, {Switch::VH, Switch::WL});
  double least = before;
  for (int n = 0; n < 4000 && drive.snapshot().current_A.U > 0.0; ++n) {
    advance_by(drive, 0.05e-6);
    if (drive.snapshot().current_A.U >= 0.0) least = std::min(least, drive.snapshot().torque_Nm);
  }
  EXPECT_EQ(drive.snapshot().current_A.U, 0.0) << "the outgoing phase must run out of current";
  return 1.0 - least / before;
}

// Commutation, R = 0, diode knee 0, all three EMFs at E: v_U = 0 (low diode), v_V = V_dc, v_W = 0,
// v_n = (V_dc - E)/3:  L di_U/dt = -(V_dc + 2E)/3,  L d|i_W|/dt = -(4E - V_dc)/3. While U runs out
// (from I) the returning current, and with it the torque 2 E |i_W|, loses
//   (4E - V_dc)/(V_dc + 2E): 0 at V_dc = 4E, 20 % at 3E, 33 % at 2.5E.
// Source: derived; known from Carlson, Lajoie-Mazenc & Fagundes 1992 (from memory).
// Tolerance: 97 of the series at 15 deg from the corners: 150 deg flat has flanks of 15 deg, left
// out terms below 48/(pi^2 99^2 0.26) = 0.2 % of E; angle travelled 0.01 rad stays on the flats.
TEST(TorqueRipple, CommutationOnTrapezoidDipsByBusOverEmf) {
  EXPECT_NEAR(commutation_dip(4.0), 0.0, 3e-3);
  EXPECT_NEAR(commutation_dip(3.0), 0.20, 3e-3);
  EXPECT_NEAR(commutation_dip(2.5), 1.0 / 3.0, 3e-3);
}

}  // namespace
}  // namespace stillrotor::reference
