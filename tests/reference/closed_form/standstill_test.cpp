// Locked rotor: resistance and inductance alone. r = R + R_on per phase.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;

plant::DriveParameters salient() {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 0.5;
  p.machine.inductance_d_H = 150e-6;
  p.machine.inductance_q_H = 250e-6;
  p.step_max_s = 1e-6;
  return p;
}

plant::Drive locked_at(const plant::DriveParameters& p, double theta_e) {
  plant::Drive drive(p);
  drive.start({0.0, theta_e / p.machine.pole_pairs, -1.0});
  hold_electrical(drive, 0.0);
  return drive;
}

// U high, V and W low: U in series with V and W in parallel, 1.5 r and 1.5 L, so
//   i_U = V / (1.5 r) (1 - exp(-t r / L)). Source: textbook, from memory.
// Tolerance: relative 2e-10; (h r/L)^4/120 at 1 us is 1e-12, the bus gives way by 1e-10.
TEST(LockedRotor, CurrentRisesExponentially) {
  plant::DriveParameters p = stiff_drive();
  p.step_max_s = 1e-6;
  plant::Drive drive = locked_at(p, 0.7);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  for (int n = 1; n <= 20; ++n) {
    const double t = n * 0.5e-3;
    advance_to(drive, ps(t));
    const double expected =
        p.supply.voltage_V / (1.5 * r) * -std::expm1(-t * r / p.machine.inductance_d_H);
    const plant::Phases i = drive.snapshot().current_A;
    EXPECT_NEAR(i.U / expected, 1.0, 2e-10);
    EXPECT_NEAR(i.V, -0.5 * i.U, 1e-9);
    EXPECT_NEAR(i.W, -0.5 * i.U, 1e-9);
  }
}

struct Worst {
  double current_A = 0.0, third_A = 0.0;
};

/// Largest deviation from V/(2r) (1 - exp(-2 r t / L)) over 24 angles and 1 ms.
template <class Inductance>
Worst two_phases(Switch high, Switch low, Inductance loop_H, int from, int to, int third) {
  const plant::DriveParameters p = salient();
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  Worst worst;
  for (int k = 0; k < 24; ++k) {
    const double theta = k * pi / 12.0;
    plant::Drive drive = locked_at(p, theta);
    only_on(drive, {high, low});
    for (int n = 1; n <= 10; ++n) {
      const double t = n * 1e-4;
      advance_to(drive, ps(t));
      const plant::Phases s = drive.snapshot().current_A;
      const double i[3] = {s.U, s.V, s.W};
      const double expected =
          p.supply.voltage_V / (2.0 * r) * -std::expm1(-2.0 * r * t / loop_H(p, theta));
      worst.current_A =
          std::max({worst.current_A, std::abs(i[from] - expected), std::abs(i[to] + expected)});
      worst.third_A = std::max(worst.third_A, std::abs(i[third]));
    }
  }
  return worst;
}

// V to W: the current lies on the beta axis; L_beta-beta = (L_d+L_q)/2 - (L_d-L_q)/2 cos 2 theta,
// and the loop sees twice that. Derived. Tolerance: 1.5e-8 A of 48 A.
TEST(TwoPhasesFed, LoopInductanceFromVToWFollowsTheRotor) {
  const auto loop = [](const plant::DriveParameters& p, double theta) {
    const double d = p.machine.inductance_d_H, q = p.machine.inductance_q_H;
    return d + q - (d - q) * std::cos(2.0 * theta);
  };
  const Worst w = two_phases(Switch::VH, Switch::WL, loop, 1, 2, 0);
  EXPECT_LT(w.current_A, 1.5e-8);
  EXPECT_LT(w.third_A, 1e-12) << "the third terminal floats";
}

// U to V: the current lies at -30 deg, so theta becomes theta + 30 deg with the sign of the d axis.
TEST(TwoPhasesFed, LoopInductanceFromUToVFollowsTheRotor) {
  const auto loop = [](const plant::DriveParameters& p, double theta) {
    const double d = p.machine.inductance_d_H, q = p.machine.inductance_q_H;
    return d + q + (d - q) * std::cos(2.0 * theta + pi / 3.0);
  };
  const Worst w = two_phases(Switch::UH, Switch::VL, loop, 0, 1, 2);
  EXPECT_LT(w.current_A, 1.5e-8);
  EXPECT_LT(w.third_A, 1e-12);
}

// An open phase is the same circuit whatever its gates do: no current in it, the other two
// opposite, loop inductance as above. By hand.
TEST(OpenPhase, CarriesNothingAndTheOtherTwoAreOpposite) {
  const plant::DriveParameters p = salient();
  const double theta = 0.4, d = p.machine.inductance_d_H, q = p.machine.inductance_q_H;
  const double loop = d + q - (d - q) * std::cos(2.0 * theta);
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  plant::Drive drive = locked_at(p, theta);
  drive.set_phase_open(plant::Leg::U, true);
  only_on(drive, {Switch::UH, Switch::VH, Switch::WL});
  for (int n = 1; n <= 10; ++n) {
    const double t = n * 1e-4;
    advance_to(drive, ps(t));
    const plant::Phases i = drive.snapshot().current_A;
    EXPECT_NEAR(i.U, 0.0, 1e-12);
    EXPECT_NEAR(i.V + i.W, 0.0, 1e-12);
    EXPECT_NEAR(i.V, p.supply.voltage_V / (2.0 * r) * -std::expm1(-2.0 * r * t / loop), 1.5e-8);
  }
}

// Cut while it carries current: the header promises that flux linkage of the remaining loop is
// conserved. L_d = L_q = L, U carries I and V, W return I/2 each: the loop V-W holds no current
// before and none after.
TEST(OpenPhase, CutUnderCurrentLeavesTheFluxOfTheOtherLoop) {
  plant::DriveParameters p = stiff_drive();
  plant::Drive drive = locked_at(p, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 1e-3);
  ASSERT_GT(drive.snapshot().current_A.U, 50.0);
  drive.set_phase_open(plant::Leg::U, true);
  plant::Phases i = drive.snapshot().current_A;
  EXPECT_NEAR(i.U, 0.0, 1e-9);
  EXPECT_NEAR(i.V, 0.0, 1e-9);
  // U carries I, V returns all of it, W off: cutting U leaves -I/2 in V and +I/2 in W, because the
  // difference i_V - i_W = -I is the flux of the loop.
  drive = locked_at(p, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 1e-3);
  const double before = drive.snapshot().current_A.U;
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  drive.set_phase_open(plant::Leg::U, true);
  i = drive.snapshot().current_A;
  EXPECT_NEAR(i.U, 0.0, 1e-9);
  EXPECT_NEAR(i.V, -0.5 * before, 1e-9);
  EXPECT_NEAR(i.W, 0.5 * before, 1e-9);
}

// The conductor parts between bridge and machine, so the leg still stands across the bus: both its
// switches on short the link, 2 R_on, whatever hangs on the terminal. By Ohm's law with a stiff
// bus: 48 V / 8 mohm = 6000 A.
TEST(OpenPhase, LegWithBothSwitchesOnStillShortsTheBus) {
  plant::Drive drive(stiff_drive());
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_phase_open(plant::Leg::U, true);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::UL, true);
  EXPECT_TRUE(drive.snapshot().shoot_through);
  EXPECT_NEAR(drive.snapshot().bridge_A, 6000.0, 1e-6);
}

}  // namespace
}  // namespace stillrotor::reference
