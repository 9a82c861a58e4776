// Potential of the terminal that six-step operation leaves floating: what sensorless firmware
// reads. x high, y low, f floats, equal inductances. v_f = v_n + e_f and, from the two conducting
// phases with opposite currents and equal drops, v_n = V_dc/2 - (e_x + e_y)/2, so
//   v_f = V_dc/2 + e_f - (e_x + e_y)/2.  Derived.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

struct Reading {
  double terminal_V, bus_V, e_U_V, e_V_V, e_W_V;
};

/// U high, V low, W floats; EMFs from the harmonics by the test itself.
Reading float_W(const plant::DriveParameters& p, double omega_e, double theta) {
  plant::Drive drive(p);
  drive.start({omega_e / p.machine.pole_pairs, theta / p.machine.pole_pairs, -1.0});
  hold_electrical(drive, omega_e);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 10e-6);
  const auto emf = [&](int k) {
    double sum = 0.0;
    for (const auto& h : shape_of(p.machine))
      sum -= h.ratio * std::sin(h.order * (theta + omega_e * 10e-6 - k * plant::two_pi / 3.0));
    return omega_e * p.machine.flux_linkage_Wb * sum;
  };
  const plant::Snapshot s = drive.snapshot();
  return {s.terminal_V.W, s.bus_V, emf(0), emf(1), emf(2)};
}

// Sine: e_U + e_V = -e_W, so V_dc/2 + 1.5 e_W. At +-17 V of EMF all angles stay inside the rails.
// Tolerance: 4 units in the last place of 48 V (7e-15 V each).
TEST(FloatingTerminal, SineMachineShowsOneAndAHalfTimesItsEmf) {
  const plant::DriveParameters p = stiff_drive();
  double worst_V = 0.0;
  for (int k = 0; k < 72; ++k) {
    const Reading r = float_W(p, 1200.0, k * plant::two_pi / 72.0);
    worst_V = std::max(worst_V, std::abs(r.terminal_V - (0.5 * r.bus_V + 1.5 * r.e_W_V)));
  }
  EXPECT_LT(worst_V, 3e-14);
}

// Any shape, triplens included in the full phase EMFs and cancelling in the potential.
// Tolerance: the plant interpolates its shape (cubic Hermite, 1024 intervals a turn): harmonic n is
// off by at most (2 pi n/1024)^4 / 384 of itself. With h_n = 1/n^2 and the non-triplen orders up to
// 49 that sums to 5.5e-8 of 12 V, times 1.5 in this potential: 1 uV.
TEST(FloatingTerminal, AnyShapeFollowsFullPhaseEmfs) {
  const plant::DriveParameters p = stiff_trapezoid(120.0, 49);
  double worst_V = 0.0;
  for (int k = 0; k < 72; ++k) {
    const Reading r = float_W(p, 1000.0, k * plant::two_pi / 72.0);
    worst_V = std::max(
        worst_V, std::abs(r.terminal_V - (0.5 * r.bus_V + r.e_W_V - 0.5 * (r.e_U_V + r.e_V_V))));
  }
  EXPECT_LT(worst_V, 1e-6);
}

// Flat trapezoid while U and V stand on their flats: e_U = -e_V, so V_dc/2 + e_W. The flats of
// e_U > 0 and e_V < 0 overlap for 210 < theta < 270 deg (e_U = -sin, V lags by 120 deg).
// Tolerance: orders above 99 are left out; at 10 deg from the corners their sum is below
// 24/(pi^2 99^2 * 0.17) = 0.15 % of E in e_W and as much in (e_U + e_V)/2.
TEST(FloatingTerminal, FlatTrapezoidShowsItsEmf) {
  const plant::DriveParameters p = stiff_trapezoid(120.0, 99);
  const double omega = 1000.0;
  const double flat_V =
      omega * p.machine.flux_linkage_Wb * plant::trapezoid_flat_over_fundamental(120.0);
  for (const double degrees : {220.0, 230.0, 240.0, 250.0, 260.0}) {
    const Reading r = float_W(p, omega, degrees * plant::pi / 180.0);
    const double here = degrees + omega * 10e-6 * 180.0 / plant::pi;
    const double ideal = -flat_V * (here - 240.0) / 30.0;  // e_W falls through its middle
    EXPECT_NEAR(r.terminal_V, 0.5 * r.bus_V + ideal, 3e-3 * flat_V) << degrees << " deg";
  }
}

}  // namespace
}  // namespace stillrotor::reference
