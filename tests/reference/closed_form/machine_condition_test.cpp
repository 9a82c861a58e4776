// What changes in a machine beside its currents: temperature, lost magnets, cogging, iron losses.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"
#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {
namespace {

constexpr double zero_C = 273.15;

// Source: IEC 60028, copper: 0.393 % per kelvin at 20 degC. By hand: 50 mohm at 20 degC are
// 50 (1 + 0.00393 * 100) = 69.65 mohm at 120 degC; stated at 75 degC instead, 50 mohm are
// 50 * 1.393 / 1.21615 = 57.271 mohm at 120 degC. Tolerance: rounding, and the last digit by hand.
TEST(Temperature, CopperRisesByItsCoefficientFromTwentyDegrees) {
  plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.set_machine_temperatures(zero_C + 120.0, zero_C + 20.0);
  for (const double r : drive.state().machine.winding_ohm) EXPECT_NEAR(r, 69.65e-3, 1e-15);
  p.machine.reference_temperature_K = zero_C + 75.0;
  plant::Drive warm(p);
  EXPECT_NEAR(warm.state().machine.winding_ohm[0], 50e-3, 1e-15);
  warm.set_machine_temperatures(zero_C + 120.0, zero_C + 75.0);
  EXPECT_NEAR(warm.state().machine.winding_ohm[0], 57.271e-3, 1e-6);
}

// 100 K take 11 % of 12 mWb, 1.32 mWb; the shorted winding holds its flux linkage, so the d current
// takes over 1.32 mWb / 150 uH = 8.8 A. Along the magnet only: nothing on q. Tolerance: rounding.
TEST(Temperature, CurrentsTakeOverWhatTheMagnetsLose) {
  plant::Drive drive(stiff_drive());
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 1.0, {5.0, -3.0});
  const plant::Dq before = drive.snapshot().current_dq_A;
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 120.0);
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, 10.68e-3, 1e-15);
  EXPECT_NEAR(drive.snapshot().current_dq_A.d - before.d, 8.8, 1e-12);
  EXPECT_NEAR(drive.snapshot().current_dq_A.q - before.q, 0.0, 1e-12);
}

// The same on a map: the linkage psi_d(i) + what the magnets are off the map stays. And back again.
TEST(Temperature, FluxLinkageStaysOnAMapToo) {
  const SoftIron iron;
  plant::Drive drive(soft_iron_drive(iron, 5.0));
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {-40.0, 60.0});
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 120.0);
  const plant::Dq i = drive.snapshot().current_dq_A;
  EXPECT_GT(i.d, -35.0);
  // Tolerance: the map's fit of the closed form at 5 A, 3e-7 of 25 mWb.
  EXPECT_NEAR(iron.psi_d(i.d, i.q) - 0.11 * iron.psi_d(0.0, 0.0), iron.psi_d(-40.0, 60.0), 8e-9);
  EXPECT_NEAR(iron.psi_q(i.d, i.q), iron.psi_q(-40.0, 60.0), 8e-9);
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 20.0);
  EXPECT_NEAR(drive.snapshot().current_dq_A.d, -40.0, 1e-9);
  EXPECT_NEAR(drive.snapshot().current_dq_A.q, 60.0, 1e-9);
}

// With nothing on, no current may flow: the terminals take the jump.
TEST(Temperature, AMachineWithoutAPathKeepsNoCurrent) {
  plant::Drive drive(stiff_drive());
  drive.start();
  drive.set_machine_temperatures(zero_C + 100.0, zero_C + 100.0);
  EXPECT_EQ(drive.state().i_alpha_A, 0.0);
  EXPECT_EQ(drive.state().i_beta_A, 0.0);
}

/// Knee at -60 A (20 degC), 0.5 A nearer each kelvin; 240 A more would take all flux.
plant::DriveParameters brittle() {
  plant::DriveParameters p = stiff_drive();
  p.machine.demagnetisation = {true, -60.0, 0.5, 240.0};
  return p;
}

// i_d held slowly at -84 A, 24 A below the knee: 24/240 = 10 % of the flux is gone, at -108 A 20 %.
// Going there along the line: the current is driven by voltage on d at standstill and the place
// where it ends is read, so the line itself is checked. Tolerance: rounding of the line's solution.
TEST(Demagnetisation, FluxFallsAlongTheLineBelowTheKneeAndStays) {
  plant::Drive drive(brittle());
  drive.start();
  hold_electrical(drive, 0.0);
  const auto i_d = [&] { return drive.snapshot().current_dq_A.d; };
  const auto left = [&] { return drive.state().machine.magnet_left; };
  const auto drive_to = [&](double until) {  // V and W against U: i_d falls
    only_on(drive, {Switch::UL, Switch::VH, Switch::WH});
    while (i_d() > until) advance_by(drive, 1e-6);
  };
  drive_to(-58.0);
  EXPECT_EQ(left(), 1.0);
  drive_to(-84.0);
  EXPECT_NEAR(left(), 1.0 - (-60.0 - i_d()) / 240.0, 1e-12);
  const double at_84 = left();
  EXPECT_NEAR(at_84, 0.9, 2e-3);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 500e-6);
  EXPECT_GT(i_d(), 0.0);
  EXPECT_EQ(left(), at_84) << "what is lost does not come back";
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, 12e-3 * at_84, 1e-15);
  drive_to(-82.0);
  EXPECT_EQ(left(), at_84) << "the way back is the recoil line";
  drive_to(-108.0);
  EXPECT_NEAR(left(), 1.0 - (-60.0 - i_d()) / 240.0, 1e-12);
  drive.start();
  EXPECT_EQ(left(), 1.0) << "a new run has new magnets";
}

// 60 K more bring the knee from -60 to -30 A (0.5 A/K).
TEST(Demagnetisation, TheKneeComesNearerWhenTheMagnetsAreHot) {
  plant::Drive drive(brittle());
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 80.0);
  EXPECT_NEAR(drive.state().machine.knee_A, -30.0, 1e-12);
  place(drive, 0.0, {-29.0, 0.0});
  advance_by(drive, 1e-6);
  EXPECT_EQ(drive.state().machine.magnet_left, 1.0);
  // A magnet that warms up under a current it stood before loses at once.
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {-55.0, 0.0});
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 100.0);
  EXPECT_LT(drive.state().machine.magnet_left, 1.0);
}

// By hand: straight between the table's points, held beyond them. At 70 degC a third of the way
// from -60 to -30 A: -50 A; i_d at -51 A loses, at -49 A it does not.
TEST(Demagnetisation, TheKneeFollowsItsTable) {
  plant::DriveParameters p = brittle();
  p.machine.demagnetisation.knee_over_temperature = {
      {zero_C - 20.0, -40.0}, {zero_C + 60.0, -60.0}, {zero_C + 90.0, -30.0}};
  plant::Drive drive(p);
  const auto left_of = [&](double magnets_C, double knee_A, double i_d_A) {
    drive.start();
    hold_electrical(drive, 0.0);
    drive.set_machine_temperatures(zero_C + 20.0, zero_C + magnets_C);
    EXPECT_NEAR(drive.state().machine.knee_A, knee_A, 1e-9);
    place(drive, 0.0, {i_d_A, 0.0});
    advance_by(drive, 1e-6);
    return drive.state().machine.magnet_left;
  };
  EXPECT_EQ(left_of(70.0, -50.0, -49.0), 1.0);
  EXPECT_LT(left_of(70.0, -50.0, -51.0), 1.0);
  EXPECT_EQ(left_of(20.0, -50.0, -49.0), 1.0);
  EXPECT_LT(left_of(-60.0, -40.0, -41.0), 1.0);
  EXPECT_EQ(left_of(150.0, -30.0, -29.0), 1.0);
  EXPECT_LT(left_of(150.0, -30.0, -31.0), 1.0);
}

// How far the magnets fall depends on the linkage that the voltage has forced, not on the steps:
// the working point solves L i_d + psi left(i_d) = linkage. By hand from -200 A in a 150 uH
// machine: linkage = 12 - 30 = -18 mWb; left = 1 + (i + 60)/240; 150 uH i + 12 mWb (1.25 + i/240) =
// -18 mWb, i = -33 mWb / 200 uH = -165 A, left = 0.5625. Flux linkage before and after: -18 mWb.
TEST(Demagnetisation, TheWorkingPointKeepsTheFluxLinkage) {
  plant::Drive drive(brittle());
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {-200.0, 0.0});
  drive.keep_ledger(true);
  const double before = drive.machine_energy_J();
  drive.set_machine_temperatures(zero_C + 20.0, zero_C + 20.0);  // makes it look
  EXPECT_NEAR(drive.snapshot().current_dq_A.d, -165.0, 1e-9);
  EXPECT_NEAR(drive.state().machine.magnet_left, 0.5625, 1e-12);
  EXPECT_NEAR(150e-6 * drive.snapshot().current_dq_A.d + drive.state().machine.flux_linkage_Wb,
              -18e-3, 1e-14);
  EXPECT_NEAR(drive.state().dissipated_J, before - drive.machine_energy_J(), 1e-12);
}

// A turning machine whose terminals are shorted: i_d runs to -psi / L_d and below the knee on its
// way. Beside it the two linkages' own equations, i_d along the recoil line or the falling one,
// RK4 at 10 ns. Tolerance: magnets are put right after each step, which is of first order.
TEST(Demagnetisation, AShortTakesAsMuchWhateverTheStep) {
  plant::DriveParameters p = brittle();
  p.machine.flux_linkage_Wb = 25e-3;
  p.machine.demagnetisation = {true, -120.0, 0.0, 200.0};
  p.step_max_s = 10e-6;
  const double w = 800.0, L_d = p.machine.inductance_d_H, L_q = p.machine.inductance_q_H;
  const double ohm = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  plant::Drive drive(p);
  drive.start({w / p.pole_pairs(), 0.0, -1.0});
  hold_electrical(drive, w);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  advance_by(drive, 5e-3);

  const double slope_H = 25e-3 / 200.0;
  double least_A = -120.0, linkage[2] = {25e-3, 0.0};
  const auto left = [&] { return 1.0 - (-120.0 - least_A) / 200.0; };
  const auto d_current = [&](double linkage_Wb) {
    const double recoil_A = (linkage_Wb - 25e-3 * left()) / L_d;
    return recoil_A >= least_A ? recoil_A : least_A + (recoil_A - least_A) * L_d / (L_d + slope_H);
  };
  const auto rate = [&](const double(&y)[2], double(&k)[2]) {
    k[0] = w * y[1] - ohm * d_current(y[0]);
    k[1] = -w * y[0] - ohm * y[1] / L_q;
  };
  constexpr double h = 10e-9;
  for (int n = 0; n < 500'000; ++n) {
    double k[4][2], y[2];
    rate(linkage, k[0]);
    for (int stage = 1; stage < 4; ++stage) {
      for (int axis = 0; axis < 2; ++axis)
        y[axis] = linkage[axis] + (stage == 3 ? h : 0.5 * h) * k[stage - 1][axis];
      rate(y, k[stage]);
    }
    for (int axis = 0; axis < 2; ++axis)
      linkage[axis] += h / 6.0 * (k[0][axis] + 2.0 * (k[1][axis] + k[2][axis]) + k[3][axis]);
    least_A = std::fmin(least_A, d_current(linkage[0]));
  }
  ASSERT_LT(left(), 0.9);
  EXPECT_NEAR(drive.state().machine.magnet_left, left(), 1e-4 * (1.0 - left()));
  EXPECT_NEAR(drive.snapshot().current_dq_A.d, d_current(linkage[0]), 1e-2);
}

// Common practice: the cogging of 12 slots and 8 poles repeats lcm(12, 8) = 24 times a turn. No
// constant part: a turn gives back what it takes. The least period is found, not assumed.
TEST(Cogging, RepeatsByTheLeastCommonMultipleOfSlotsAndPoles) {
  plant::DriveParameters p = stiff_drive();
  p.machine.cogging = {{24, 0.08, 0.4}, {48, 0.02, -1.0}};
  plant::Drive drive(p);
  const auto torque = [&](double theta_m) {
    drive.start({0.0, theta_m, -1.0});
    return drive.snapshot().torque_Nm;
  };
  const double turn = plant::two_pi;
  double sum = 0.0, off[3] = {};
  const double shift[3] = {turn / 24, turn / 12, turn / 48};
  for (int k = 0; k < 960; ++k) {
    const double at = (k + 0.5) * turn / 960, t = torque(at);
    sum += t;
    EXPECT_NEAR(t, 0.08 * std::sin(24 * at + 0.4) + 0.02 * std::sin(48 * at - 1.0), 1e-9);
    for (int n = 0; n < 3; ++n)
      off[n] = std::fmax(off[n], std::abs(torque(std::fmod(at + shift[n], turn)) - t));
  }
  EXPECT_NEAR(sum / 960, 0.0, 1e-9);
  EXPECT_LT(off[0], 1e-8);
  EXPECT_LT(off[1], 1e-8);
  EXPECT_GT(off[2], 0.1) << "a shorter period would be wrong";
}

// What is watched after every step and what is seen at its end are one torque.
TEST(Cogging, StandsInTheProbeToo) {
  plant::DriveParameters p = stiff_drive();
  p.machine.cogging = {{24, 0.08, 0.4}};
  plant::Drive drive(p);
  drive.start({40.0, 0.0, -1.0});
  double probed_Nm = 0.0;
  EachStep look([&](const plant::Segment& s) { probed_Nm = drive.probe(*s.end).torque_Nm; });
  advance_by(drive, 1e-3, &look);
  EXPECT_NEAR(probed_Nm, 0.08 * std::sin(24 * drive.snapshot().theta_m_rad + 0.4), 1e-8);
  EXPECT_NEAR(probed_Nm, drive.snapshot().torque_Nm, 1e-12);
}

// A rotor let go beside a rest position swings: kinetic energy and cogging's potential add up to a
// constant. An order that is no multiple of the pole pairs, so that the mechanical turn counts.
// Tolerance: RK4 at 10 us of a swing of some 10 ms: (2 pi/1000)^4/120 of the energy a step.
TEST(Cogging, GivesBackWhatItTakes) {
  plant::DriveParameters p = stiff_drive();
  p.machine.pole_pairs = 4;
  p.machine.cogging = {{9, 0.3, 0.0}};
  p.shaft.inertia_kg_m2 = 1e-4;
  plant::Drive drive(p);
  drive.start({150.0, 1.0, -1.0});
  const auto energy = [&] {
    const double w = drive.state().omega_m_rad_s;
    return 0.5 * 1e-4 * w * w + drive.machine_energy_J();
  };
  const double before = energy();
  double least = 1e9, most = 0.0;
  for (int k = 0; k < 400; ++k) {
    advance_by(drive, 0.5e-3);
    EXPECT_NEAR(energy(), before, 1e-8);
    least = std::fmin(least, drive.state().omega_m_rad_s);
    most = std::fmax(most, drive.state().omega_m_rad_s);
  }
  EXPECT_GT(most - least, 2.0);
  EXPECT_GT(std::abs(drive.snapshot().theta_m_rad), 20.0) << "several turns";
}

// With friction the swing ends in a well, where cogging pulls no harder than friction holds; and a
// load that just exceeds both sets the rotor off. By hand: 0.3 N m of cogging and 0.05 N m of
// friction hold 0.2 N m, not 0.4 N m. Letting go and stopping must not chatter.
TEST(Cogging, AndFrictionHoldARotorTogether) {
  plant::DriveParameters p = stiff_drive();
  p.machine.cogging = {{24, 0.3, 0.0}};
  p.shaft.inertia_kg_m2 = 1e-4;
  p.shaft.coulomb_friction_Nm = 0.05;
  plant::Drive drive(p);
  drive.start({20.0, 0.1, -1.0});
  advance_by(drive, 0.5);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_LE(std::abs(drive.snapshot().torque_Nm), 0.05);
  drive.set_load_torque_Nm({-0.2, 0.0});
  advance_by(drive, 0.5);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_NEAR(drive.snapshot().torque_Nm, -0.2, 0.05 + 1e-9);
  drive.set_load_torque_Nm({-0.4, 0.0});
  advance_by(drive, 0.1);
  EXPECT_GT(drive.state().omega_m_rad_s, 10.0);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

plant::DriveParameters lossy() {
  plant::DriveParameters p = stiff_drive();
  p.machine.iron_loss = {80.0, 200.0, 0.6};
  return p;
}

/// Loss and drag without current at this electrical frequency.
struct Loss {
  double heat_W, drag_Nm;
};
Loss loss_at(const plant::DriveParameters& p, double electrical_Hz) {
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, plant::two_pi * electrical_Hz);
  drive.keep_ledger(true);
  advance_by(drive, 1e-3);
  return {drive.state().dissipated_J / 1e-3, -drive.snapshot().torque_Nm};
}

// By hand: at the reference frequency the reference loss; at half of it 0.6/2 + 0.4/4 = 0.4 of it;
// at twice 0.6 * 2 + 0.4 * 4 = 2.8. The drag carries the loss: T omega = P. Tolerance: the smooth
// passage through standstill, 1e-4 of omega_ref squared: 3e-5 of the hysteresis part beside it. The
// bus must exceed the EMF: 500 V.
TEST(IronLoss, IsTheReferenceLossAtTheReferencePoint) {
  plant::DriveParameters p = lossy();
  p.supply.voltage_V = 500.0;
  EXPECT_NEAR(loss_at(p, 200.0).heat_W, 80.0, 1e-6);
  EXPECT_NEAR(loss_at(p, 100.0).heat_W, 32.0, 80.0 * 2e-4);
  EXPECT_NEAR(loss_at(p, 400.0).heat_W, 224.0, 80.0 * 2e-4);
  const Loss at = loss_at(p, 200.0);
  EXPECT_NEAR(at.drag_Nm * plant::two_pi * 200.0 / 4.0, 80.0, 1e-6);
  EXPECT_NEAR(loss_at(p, 0.0).drag_Nm, 0.0, 1e-15);
  EXPECT_GT(loss_at(p, -100.0).heat_W, 31.9) << "backwards it brakes too";
}

// With the flux squared: -40 A on d leave (12 - 6)/12 of the flux, a quarter of the loss.
TEST(IronLoss, FollowsTheWholeFlux) {
  const plant::DriveParameters p = lossy();
  plant::Drive with(p), without(stiff_drive());
  for (plant::Drive* drive : {&with, &without}) {
    drive->start();
    hold_electrical(*drive, plant::two_pi * 200.0);
    place(*drive, 0.0, {-40.0, 0.0});
  }
  const double drag = without.snapshot().torque_Nm - with.snapshot().torque_Nm;
  EXPECT_NEAR(drag * plant::two_pi * 50.0, 20.0, 1e-6);
}

// Cogging and iron losses on the fast steps against the general one, which the ledger uses.
TEST(MachineCondition, FastAndGeneralStepsAgreeWithCoggingAndIronLosses) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.cogging = {{9, 0.05, 0.3}};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  p.shaft.inertia_kg_m2 = 2e-4;
  plant::Drive fast(p), general(p);
  for (plant::Drive* drive : {&fast, &general}) drive->start({60.0, 0.0, -1.0});
  general.keep_ledger(true);
  for (int k = 0; k < 300; ++k) {
    for (plant::Drive* drive : {&fast, &general}) {
      if (k / 10 % 2 == 0)
        only_on(*drive, {k % 2 == 0 ? Switch::UH : Switch::UL, Switch::VL});
      else
        only_on(*drive, {k % 2 == 0 ? Switch::UH : Switch::UL, Switch::VL, Switch::WH});
      advance_by(*drive, 13e-6);
    }
    ASSERT_NEAR(fast.state().i_alpha_A, general.state().i_alpha_A, 1e-7) << k;
    ASSERT_NEAR(fast.state().omega_m_rad_s, general.state().omega_m_rad_s, 1e-7) << k;
  }
  EXPECT_NE(fast.state().omega_m_rad_s, 60.0);
}

}  // namespace
}  // namespace stillrotor::reference
