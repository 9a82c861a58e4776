// Order of the integrator, inside segments and across conduction changes.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

// A shorted machine of equal inductances at constant speed is linear; in the stationary frame
//   L di/dt = -r i - j w psi exp(j w t), i(0) = 0:
//   i = a (exp(j w t) - exp(-t r/L)),  a = -j w psi / (r + j w L).  Derived.
double error_A(double step_s) {
  plant::DriveParameters p = stiff_drive();
  p.step_max_s = step_s;
  const double w = 900.0, psi = p.machine.flux_linkage_Wb, l = p.machine.inductance_d_H;
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, w);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  const double t = 2e-3;
  advance_to(drive, ps(t));
  const std::complex<double> j(0.0, 1.0);
  const std::complex<double> a = -j * w * psi / (r + j * w * l);
  const std::complex<double> expected = a * (std::exp(j * w * t) - std::exp(-t * r / l));
  return std::abs(std::complex<double>(drive.state().i_alpha_A, drive.state().i_beta_A) - expected);
}

// Fourth order: halving the step divides the error by 16. Measured from 50 to 12.5 us, where the
// error is far above rounding. The next order's share, about w h = 4 %, moves the ratio by as much.
TEST(Convergence, HalvingTheStepDividesTheErrorBySixteen) {
  const double coarse = error_A(50e-6), middle = error_A(25e-6), fine = error_A(12.5e-6);
  EXPECT_NEAR(coarse / middle, 16.0, 1.0);
  EXPECT_NEAR(middle / fine, 16.0, 1.0);
  EXPECT_LT(coarse, 1e-3);
}

/// Rectifying machine over two turns: 12 diode changes at moments that no step knows beforehand.
std::complex<double> rectifier_A(double step_s) {
  plant::DriveParameters p;
  p.dc_link.capacitance_F = 10e-3;
  p.step_max_s = step_s;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 3000.0);
  advance_to(drive, ps(2.0 * plant::two_pi / 3000.0 + 0.3e-3));
  return {drive.state().i_alpha_A, drive.state().i_beta_A};
}

// Events are located inside the step, so they must not spoil the order: against 0.5 us, 10 us and 5
// us differ by a factor of about 16. The moments of events move relative to the steps, so the
// ratio scatters; first order would give 2, second 4: 8 separates them.
TEST(Convergence, DiodeChangesDoNotSpoilTheOrder) {
  const std::complex<double> fine = rectifier_A(0.5e-6);
  const double coarse = std::abs(rectifier_A(10e-6) - fine);
  const double middle = std::abs(rectifier_A(5e-6) - fine);
  ASSERT_GT(std::abs(fine), 1.0);
  EXPECT_GT(coarse / middle, 8.0) << coarse << " A, " << middle << " A";
  EXPECT_LT(coarse, 1e-4);
}

}  // namespace
}  // namespace stillrotor::reference
