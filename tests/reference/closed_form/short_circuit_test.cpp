// All three low switches on: the machine is shorted through them.
// With v_d = v_q = 0 and r = R + R_on the voltage equations in the rotor frame are
//   L_d di_d/dt = -r i_d + w L_q i_q,      L_q di_q/dt = -r i_q - w L_d i_d - w psi.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

void short_all(plant::Drive& drive) { only_on(drive, {Switch::UL, Switch::VL, Switch::WL}); }

plant::DriveParameters salient(double inductance_d_H, double step_max_s) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_d_H = inductance_d_H;
  p.machine.inductance_q_H = 250e-6;
  p.step_max_s = step_max_s;
  return p;
}
plant::DriveParameters without_resistance(plant::DriveParameters p) {
  p.machine.winding_resistance_ohm = p.bridge.switch_on_resistance_ohm = 1e-12;
  return p;
}

// Steady state, both derivatives zero: D = r^2 + w^2 L_d L_q,
//   i_d = -w^2 L_q psi / D,  i_q = -w r psi / D. Source: textbook, from memory; derived above.
// Tolerance: fourth-order error of the rotating field at 1 us, (w h)^4 / 120 = 2e-14, and the rest
// of the transient after 40 time constants, exp(-40) = 4e-18; 7e-12 leaves rounding of 120,000
// steps.
TEST(ShortCircuit, SettlesAtTextbookCurrentsWithSaliency) {
  const plant::DriveParameters p = salient(150e-6, 1e-6);
  const double w = 1000.0, r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, w);
  short_all(drive);
  advance_by(drive, 40.0 * p.machine.inductance_q_H / r);
  const double d = r * r + w * w * p.machine.inductance_d_H * p.machine.inductance_q_H;
  const double psi = p.machine.flux_linkage_Wb;
  const plant::Snapshot s = drive.snapshot();
  EXPECT_NEAR(s.current_dq_A.d / (-w * w * p.machine.inductance_q_H * psi / d), 1.0, 7e-12);
  EXPECT_NEAR(s.current_dq_A.q / (-w * r * psi / d), 1.0, 7e-12);
  EXPECT_LT(s.torque_Nm, 0.0) << "a shorted machine brakes";
}

// r = 0, from no current at theta = 0: the flux of each phase stays what it was,
//   L_d i_d + psi = psi cos wt,  L_q i_q = -psi sin wt. Derived.
// Tolerance: 2e-12 ohm over 5 ms changes 160 A by r t / L = 7e-11, that is 1.1e-8 A.
TEST(ShortCircuit, WithoutResistanceKeepsItsFlux) {
  const plant::DriveParameters p = without_resistance(salient(150e-6, 1e-6));
  const double w = 1000.0, psi = p.machine.flux_linkage_Wb;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, w);
  short_all(drive);
  double worst_A = 0.0;
  for (int n = 1; n <= 500; ++n) {
    const double t = n * 1e-5;
    advance_to(drive, ps(t));
    const plant::Dq i = drive.snapshot().current_dq_A;
    worst_A = std::fmax(worst_A,
                        std::abs(i.d - psi * (std::cos(w * t) - 1.0) / p.machine.inductance_d_H));
    worst_A = std::fmax(worst_A, std::abs(i.q + psi * std::sin(w * t) / p.machine.inductance_q_H));
  }
  EXPECT_LT(worst_A, 1.7e-8);
}

// The same with a prefix lost: one axis has many times the other's inductance, and its linkage what
// would be thousands of amperes on the other. In the longest steps, general ones (a ledger is
// kept). Steps as long as usual saliency allows are 2e-3 of psi / L_q off at 30 times and run away
// at 4000.
TEST(ShortCircuit, MoreSaliencyThanMachinesHaveTakesShorterSteps) {
  for (const double ratio : {30.0, 400.0, 4000.0}) {
    const plant::DriveParameters p = without_resistance(salient(ratio * 250e-6, 50e-6));
    const double w = 1000.0, psi = p.machine.flux_linkage_Wb;
    plant::Drive drive(p);
    drive.start();
    drive.keep_ledger(true);
    hold_electrical(drive, w);
    short_all(drive);
    double worst_A = 0.0;
    for (int n = 1; n <= 100; ++n) {
      const double t = n * 2e-4;
      advance_to(drive, ps(t));
      worst_A = std::fmax(worst_A, std::abs(drive.snapshot().current_dq_A.q +
                                            psi * std::sin(w * t) / p.machine.inductance_q_H));
    }
    EXPECT_LT(worst_A, 1e-3 * psi / p.machine.inductance_q_H) << ratio;
  }
}

double steady_braking_torque_Nm(double omega_e, const plant::DriveParameters& p) {
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, omega_e);
  short_all(drive);
  advance_by(drive, 36.0 * p.machine.inductance_d_H /
                        (p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm));
  return drive.snapshot().torque_Nm;
}

// L_d = L_q = L: T = -1.5 p psi^2 w r / (r^2 + w^2 L^2), largest at w = r/L, there 1.5 p
// psi^2/(2L). Derived. Tolerance: exp(-36) = 2e-16 of the transient, (w h)^4/120 = 1e-14, rounding:
// 1e-12.
TEST(ShortCircuit, BrakesHardestAtResistanceOverInductance) {
  plant::DriveParameters p = stiff_drive();
  p.step_max_s = 2e-6;
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  const double l = p.machine.inductance_d_H, psi = p.machine.flux_linkage_Wb;
  const double peak = -1.5 * p.machine.pole_pairs * psi * psi / (2.0 * l);
  EXPECT_NEAR(steady_braking_torque_Nm(r / l, p) / peak, 1.0, 1e-12);
  // 5 % beside the peak: 2 * 0.95 / (1 + 0.95^2) = 0.99869 of it, 1.05: 0.99881.
  EXPECT_NEAR(steady_braking_torque_Nm(0.95 * r / l, p) / peak, 0.99869, 1e-5);
  EXPECT_NEAR(steady_braking_torque_Nm(1.05 * r / l, p) / peak, 0.99881, 1e-5);
}

}  // namespace
}  // namespace stillrotor::reference
