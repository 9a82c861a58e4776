// Unequal phases and delta: what circuits of resistances and inductances say.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>

#include "tests/reference/support/drive_setup.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {
namespace {

using plant::two_pi;

// U high, V and W low, rotor locked, after many time constants: R_U' in series with R_V' || R_W',
// each with its switch. Kirchhoff, by hand: 0.5 + 0.004, 1.0 + 0.004, 2.0 + 0.004 ohm on 48 V:
// i_U = 48 / (0.504 + 1.004 * 2.004 / 3.008) = 48 / 1.172885... A.
TEST(UnequalPhases, ShareDirectCurrentByTheirResistances) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 0.5;
  p.machine.resistance_factor[1] = 2.0;
  p.machine.resistance_factor[2] = 4.0;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 20e-3);  // over 60 of the slowest time constant, 150 uH / 0.5 ohm
  const plant::Phases i = drive.snapshot().current_A;
  const double parallel = 1.004 * 2.004 / 3.008;
  EXPECT_NEAR(i.U, 48.0 / (0.504 + parallel), 1e-7);
  EXPECT_NEAR(i.V, -i.U * 2.004 / 3.008, 1e-7);
  EXPECT_NEAR(i.W, -i.U * 1.004 / 3.008, 1e-7);
}

// A joint of up to 100 ohm in U makes the loop from U to V and W as quick as 2.3 us, whatever the
// step that a bench asks for: i_U = V / R (1 - exp(-t R / L)), R the resistances in series, L = 3/2
// of a phase's. Tolerance: steps of a quarter of that time cost up to 8e-6 of the transient each,
// most in the first; the joint goes bad at a moment without current.
TEST(UnequalPhases, MayBeAsQuickAsABadJointMakesThem) {
  for (const double joint_ohm : {3.0, 20.0, 100.0}) {
    plant::DriveParameters p = stiff_drive();
    p.machine.inductance_q_H = p.machine.inductance_d_H;
    p.step_max_s = 50e-6;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    advance_by(drive, 1e-6);
    ASSERT_TRUE(drive.set_joint_ohm(plant::Leg::U, joint_ohm));
    only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
    const double phase_ohm = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
    const double ohm = 1.5 * phase_ohm + joint_ohm, tau_s = 1.5 * p.machine.inductance_d_H / ohm;
    const double end_A = p.supply.voltage_V / ohm;
    double t = 0.0;
    for (const double until : {0.5, 1.0, 3.0, 50.0}) {
      advance_by(drive, (until - t) * tau_s);
      t = until;
      EXPECT_NEAR(drive.snapshot().current_A.U / end_A, -std::expm1(-t), 2e-5)
          << joint_ohm << " ohm, after " << t << " time constants";
    }
  }
}

// Two phases fed, turns 1 and n, L_d = L_q = L, zero-sequence inductance L_0: self inductance
// n^2 (2 L + L_0) / 3, mutual n (L_0 - L) / 3, so in series against each other
//   L_loop = (1 + n^2)(2 L + L_0)/3 - 2 n (L_0 - L)/3;  di/dt = V / L_loop at the first moment.
// n = 1 gives 2 L. Tolerance: (t R / L)^2 of the exact exponential is taken in, so rounding only.
TEST(UnequalPhases, OfUnequalTurnsRiseByTheirLoopInductance) {
  plant::DriveParameters p = stiff_drive();
  const double n = 0.9, l = p.machine.inductance_d_H, l_0 = 40e-6;
  p.machine.turns_factor[1] = n;
  p.machine.inductance_zero_H = l_0;
  p.step_max_s = 1e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 200e-6);
  const double loop_H = (1.0 + n * n) * (2.0 * l + l_0) / 3.0 - 2.0 * n * (l_0 - l) / 3.0;
  const double loop_ohm =
      2.0 * (p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm);
  const double expected = p.supply.voltage_V / loop_ohm * -std::expm1(-200e-6 * loop_ohm / loop_H);
  EXPECT_NEAR(drive.snapshot().current_A.U / expected, 1.0, 1e-10);
}

plant::DriveParameters with_third_harmonic() {
  plant::DriveParameters p = stiff_drive();
  p.machine.connection = plant::Connection::delta;
  p.machine.back_emf = {{1, 1.0}, {3, 0.2}};
  p.machine.inductance_zero_H = 30e-6;
  p.step_max_s = 2e-6;
  return p;
}

/// share: of the current, how far off it may be.
void expect_third_harmonic(const plant::DriveParameters& p, double share) {
  plant::Drive drive(p);
  drive.start();
  const double omega_e = two_pi * 100.0;
  hold_electrical(drive, omega_e);
  advance_by(drive, 24e-3);
  const double e_3 = 0.2 * omega_e * p.machine.flux_linkage_Wb;
  const std::complex<double> z(p.machine.winding_resistance_ohm,
                               3.0 * omega_e * p.machine.inductance_zero_H);
  for (int n = 0; n < 12; ++n) {
    advance_by(drive, 0.7e-3);
    const plant::Snapshot s = drive.snapshot();
    // EMF of a winding: -omega psi h_3 sin(3 theta_w), theta_w = theta_e + 30 deg; the current
    // counts against it (motor convention).
    const double theta_w = s.theta_e_rad + plant::pi / 6.0;
    const double expected = e_3 / std::abs(z) * std::sin(3.0 * theta_w - std::arg(z));
    EXPECT_NEAR(s.winding_A.U, expected, share * e_3 / std::abs(z));
    EXPECT_NEAR(s.winding_A.V, s.winding_A.U, 1e-12);
    EXPECT_NEAR(s.current_A.U, 0.0, 1e-12);
  }
}

// The triplens of the windings' EMFs are alike in all three and drive a current round the delta,
// nothing into the terminals: I_3 = E_3 / |R + j 3 omega L_0|, its phase behind by arg. Source:
// textbook (circulating current of a delta), from memory. Rotor held, everything off, far below
// the onset of rectification, after 40 time constants of the loop.
TEST(Delta, CarriesItsThirdHarmonicRoundTheWindings) {
  expect_third_harmonic(with_third_harmonic(), 1e-8);
}

// The same where the loop is quicker than the longest step that a bench may ask for, 50 us, and
// than the line currents: 15 uH behind 2 ohm are 7.5 us. Its steps are then a quarter of that.
TEST(Delta, CarriesItRoundAQuickLoopToo) {
  plant::DriveParameters p = with_third_harmonic();
  p.machine.inductance_zero_H = 15e-6;
  p.machine.winding_resistance_ohm = 2.0;
  p.step_max_s = 50e-6;
  expect_third_harmonic(p, 1e-6);
}

// Between two terminals of a delta at rest: one winding beside the other two in series, 2/3 R.
TEST(Delta, ShowsTwoThirdsOfAWindingBetweenItsTerminals) {
  plant::DriveParameters p = stiff_drive();
  p.machine.connection = plant::Connection::delta;
  p.machine.winding_resistance_ohm = 0.6;
  for (const bool phase : {false, true}) {
    plant::Drive drive(p);
    drive.use_phase_quantities(phase);
    drive.start();
    hold_electrical(drive, 0.0);
    only_on(drive, {Switch::UH, Switch::VL});
    advance_by(drive, 20e-3);
    EXPECT_NEAR(drive.snapshot().current_A.U, 48.0 / (0.4 + 2.0 * 0.004), 1e-7);
    EXPECT_NEAR(drive.snapshot().winding_A.U, 48.0 / 0.408 * 2.0 / 3.0, 1e-7);
    EXPECT_NEAR(drive.snapshot().winding_A.V, -48.0 / 0.408 / 3.0, 1e-7);
  }
}

// Line-to-line EMF of a delta is the winding's own, so V/krpm gives the winding's flux linkage; its
// torque per line current in phase is that of the star with psi / sqrt 3 (power balance).
TEST(Delta, HasTheTorqueOfItsEquivalentStar) {
  plant::DriveParameters p = stiff_drive();
  p.machine.connection = plant::Connection::delta;
  plant::Drive drive(p);
  drive.use_phase_quantities(true);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.4, {-20.0 * std::sin(0.4), 20.0 * std::cos(0.4)});  // 20 A on the q axis
  EXPECT_NEAR(drive.snapshot().torque_Nm,
              1.5 * p.machine.pole_pairs * p.machine.flux_linkage_Wb / std::sqrt(3.0) * 20.0,
              1e-12);
}

/// In = stored + mechanical + heat over 10 ms of PWM, relative to what was supplied.
double missing(const plant::DriveParameters& p) {
  plant::Drive drive(p);
  const double w = two_pi * 100.0;
  drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
  drive.keep_ledger(true);
  const auto reference = [&](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = 0.6 * std::cos(w * t + 1.8 - k * two_pi / 3.0);
    return r;
  };
  const double before_J = drive.stored_J();
  replay(drive, natural_pwm_edges({reference, 16e3, 1e-6}, 160), 0, ps(10e-3));
  const plant::DriveState& s = drive.state();
  EXPECT_GT(s.supplied_J, 0.5);
  return (s.supplied_J - (drive.stored_J() - before_J) - s.mechanical_J - s.dissipated_J) /
         s.supplied_J;
}

TEST(Energy, OfUnequalPhasesAndDeltaBalances) {
  plant::DriveParameters p;
  p.machine.winding_resistance_ohm = 0.2;
  p.machine.inductance_q_H = 250e-6;
  p.machine.resistance_factor[0] = 1.7;
  p.machine.turns_factor[2] = 0.93;
  p.step_max_s = 2e-6;
  EXPECT_LT(std::abs(missing(p)), 1e-7);
  p.machine.connection = plant::Connection::delta;
  p.machine.back_emf = {{1, 1.0}, {3, 0.05}, {5, 0.04}};
  EXPECT_LT(std::abs(missing(p)), 1e-7);
  p.supply.cable_inductance_H = 2e-6;
  EXPECT_LT(std::abs(missing(p)), 1e-7);
}

}  // namespace
}  // namespace stillrotor::reference
