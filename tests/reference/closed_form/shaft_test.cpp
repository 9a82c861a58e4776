// Shaft and cart: J_total domega/dt = T - B omega - T_c sign(omega) - T_load - T_slope.
// All gates are off and the EMF stays below the bus, so the machine gives no torque.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

constexpr double g = 9.80665;  // standard acceleration of gravity, ISO 80000-3

// omega(t) = (omega_0 + T_c/B) exp(-B t/J) - T_c/B while it turns; it stops at
//   t = (J/B) ln(1 + B omega_0/T_c) and stays. Derived (linear, first order).
// Tolerance: (h B/J)^4/120 is below rounding; 7e-12 rad/s of 100.
TEST(CoastDown, FollowsViscousAndCoulombFrictionToStandstill) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 1e-3;
  p.shaft.viscous_friction_Nm_s_per_rad = 2e-3;
  p.shaft.coulomb_friction_Nm = 0.05;
  const double j = 1e-3, b = 2e-3, tc = 0.05, omega_0 = 100.0;
  plant::Drive drive(p);
  drive.start({omega_0, 0.0, -1.0});
  const double stop_s = j / b * std::log(1.0 + b * omega_0 / tc);
  double stopped_s = -1.0;
  EachStep look([&](const plant::Segment& s) {
    if (stopped_s < 0.0 && s.end->omega_m_rad_s <= 0.0) stopped_s = seconds(*s.end);
  });
  double worst = 0.0;
  for (int n = 1; n < 100; ++n) {
    advance_to(drive, ps(n * 0.01 * stop_s), &look);
    const double decay = std::exp(-b / j * seconds(drive.state()));
    const double expected = (omega_0 + tc / b) * decay - tc / b;
    worst = std::fmax(worst, std::abs(drive.state().omega_m_rad_s - expected));
  }
  EXPECT_LT(worst, 7e-12);
  advance_to(drive, ps(stop_s + 0.1), &look);
  // The plant's search for an event ends within 1e-9 (rad/s) of it; at 50 rad/s^2 that is 20 ps.
  EXPECT_NEAR(stopped_s, stop_s, 2e-11);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_EQ(drive.state().rotation, 0);
}

// Viscous friction alone: exp(-B t/J), never stops.
TEST(CoastDown, FollowsExponentialWithViscousFrictionAlone) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.viscous_friction_Nm_s_per_rad = 5e-3;
  plant::Drive drive(p);
  drive.start({80.0, 0.0, -1.0});
  advance_by(drive, 0.4);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 80.0 * std::exp(-5e-3 * 0.4 / 1e-3), 7e-12);
}

// Rotors that are quicker than the longest step that a bench may ask for, 50 us: J/B = 1 us, and
// drag by the square of the speed, omega = omega_0 / (1 + k omega_0 t / J), from J/(k omega_0) = 2
// us. Steps are an eighth of such times: (1/8)^4/120 of the transient each.
TEST(CoastDown, KeepsToItsLawHoweverQuickTheRotor) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 1e-6;
  p.step_max_s = 50e-6;
  plant::DriveParameters viscous = p, square = p;
  viscous.shaft.viscous_friction_Nm_s_per_rad = 1.0;
  square.shaft.quadratic_drag_Nm_s2_per_rad2 = 0.01;
  plant::Drive rubs(viscous), fans(square);
  rubs.start({50.0, 0.0});
  fans.start({50.0, 0.0});
  double t = 0.0;
  for (const double until_s : {0.7e-6, 3e-6, 300e-6}) {
    advance_by(rubs, until_s - t);
    advance_by(fans, until_s - t);
    t = until_s;
    EXPECT_NEAR(rubs.state().omega_m_rad_s, 50.0 * std::exp(-t / 1e-6), 1e-5 * 50.0) << t;
    EXPECT_NEAR(fans.state().omega_m_rad_s, 50.0 / (1.0 + t / 2e-6), 1e-5 * 50.0) << t;
  }
}

// The drag of hysteresis passes through zero with omega / omega_0, omega_0 a hundredth of the
// reference speed: below it a rotor comes to rest like one in oil, here within J / 0.405 N m s =
// 2.5 us (200 W, half of it hysteresis, at 157 rad/s). Derived from machine/iron_loss.hpp's law.
TEST(CoastDown, ComesToRestInItsIronLossesHoweverQuickThatIs) {
  plant::DriveParameters p = stiff_drive();
  p.machine.iron_loss = {200.0, 100.0, 0.5};
  p.machine.flux_linkage_Wb = 1e-3;
  p.shaft.inertia_kg_m2 = 1e-6;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  const double reference = plant::two_pi * 100.0 / p.machine.pole_pairs, omega_0 = 0.01;
  const double damping =
      100.0 / reference * (std::sqrt(1.0001) / (0.01 * reference) + 1.0 / reference);
  drive.start({omega_0, 0.0});
  for (const double t : {1e-6, 4e-6, 10e-6, 60e-6}) {
    advance_to(drive, ps(t));
    // Tolerance: (omega / omega_0)^2 / 2 of what is not proportional, 2e-5.
    EXPECT_NEAR(drive.state().omega_m_rad_s,
                omega_0 * std::exp(-damping / p.shaft.inertia_kg_m2 * t), 5e-5 * omega_0)
        << t;
  }
}

// Terminals shorted, next to no inertia: speed becomes current and current speed,
//   omega(t) = omega_0 exp(-a t) (cos w t + a/w sin w t), a = R / (2 L),
//   w^2 = 1.5 (p psi)^2 / (L J) - a^2,
// while omega_0 is so small that the rotor hardly turns. Derived. At 1e-9 kg m^2 1/w is 6.6 us;
// steps of an eighth of it are 2e-6 of a turn's length off in each radian.
TEST(ShortedRotor, SwingsAtItsOwnFrequencyHoweverLight) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_q_H = p.machine.inductance_d_H;
  p.shaft.inertia_kg_m2 = 1e-9;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  const double omega_0 = 1e-3;
  drive.start({omega_0, 0.0});
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  const double l = p.machine.inductance_d_H,
               r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  const double a = 0.5 * r / l, linked = p.machine.pole_pairs * p.machine.flux_linkage_Wb;
  const double w = std::sqrt(1.5 * linked * linked / (l * p.shaft.inertia_kg_m2) - a * a);
  for (int n = 1; n <= 20; ++n) {
    const double t = n * 5.3e-6;
    advance_to(drive, ps(t));
    EXPECT_NEAR(drive.state().omega_m_rad_s / omega_0,
                std::exp(-a * t) * (std::cos(w * t) + a / w * std::sin(w * t)), 1e-4)
        << t;
  }
}

// A load torque below T_c holds for ever; above it the shaft starts with (T - T_c)/J.
// By hand: (0.06 - 0.05)/1e-3 = 10 rad/s^2, backwards, for a load opposes positive speed.
TEST(Friction, HoldsBelowItsTorqueAndBreaksAwayAbove) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coulomb_friction_Nm = 0.05;
  plant::Drive drive(p);
  drive.start();
  drive.set_load_torque_Nm({0.049999, 0.0});
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_EQ(drive.state().theta_e_rad, 0.0);
  drive.set_load_torque_Nm({0.06, 0.0});
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, -1.0, 1e-11);
  EXPECT_NEAR(drive.snapshot().theta_m_rad, -0.05, 1e-12);
}

// A ramp crosses T_c inside a step: 0.05 Nm at 1 Nm/s is at 50 ms; from then on the excess grows as
// (t - 50 ms), so omega = -(t - 50 ms)^2/(2 J). By hand at 60 ms: -0.05 rad/s.
TEST(Friction, LetsGoAtTheMomentTheLoadExceedsIt) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coulomb_friction_Nm = 0.05;
  plant::Drive drive(p);
  drive.start();
  drive.set_load_torque_Nm({0.0, 1.0});
  advance_by(drive, 0.06);
  EXPECT_NEAR(drive.state().omega_m_rad_s, -0.05, 1e-9);
}

plant::DriveParameters orchard_cart() {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 0.02;
  p.shaft.cart_mass_kg = 120.0;
  p.shaft.wheel_radius_m = 0.2;
  p.shaft.gear_ratio = 2.0;
  p.shaft.rolling_resistance = 0.015;
  return p;
}

// 8 % downhill (slope -0.08) from rest, all by hand in SI: lever r/G = 0.1 m, J = 0.02 + 120 *
// 0.01 = 1.22 kg m^2, slope torque 120 g 0.1 sin(atan 0.08), rolling 0.015 * 120 g * 0.1 (on the
// weight, as the shaft's header says). Constant acceleration: omega = a t exactly for RK4.
// Tolerance: rounding of 20,000 steps.
TEST(Cart, RollsDownhillFromRestWithItsWholeInertia) {
  plant::Drive drive(orchard_cart());
  drive.start();
  drive.set_slope({-0.08, 0.0});
  advance_by(drive, 0.1);
  const double slope_Nm = 120.0 * g * 0.1 * std::sin(std::atan(0.08));
  const double rolling_Nm = 0.015 * 120.0 * g * 0.1;
  const double expected = (slope_Nm - rolling_Nm) / 1.22 * 0.1;
  EXPECT_GT(expected, 0.0);
  EXPECT_NEAR(drive.state().omega_m_rad_s / expected, 1.0, 1e-11);
  EXPECT_NEAR(drive.snapshot().load_Nm, -slope_Nm, 1e-12);
}

// Uphill it rolls back, and on a slope gentler than the rolling resistance it stands.
TEST(Cart, RollsBackUphillAndStandsOnAGentleSlope) {
  plant::Drive drive(orchard_cart());
  drive.start();
  drive.set_slope({0.08, 0.0});
  advance_by(drive, 0.1);
  EXPECT_LT(drive.state().omega_m_rad_s, 0.0);
  drive.start();
  drive.set_slope({-0.0149, 0.0});
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
}

// Soft ground from one instant on: a cart that coasts at 1 m/s loses 0.015 * 120 g * 0.1 N m / 1.22
// kg m^2 on the hard ground and four times as much on the soft one, each at a constant rate; four
// times 1.5 % hold it on a slope of 5.9 %, and it rolls as the ground gets hard again. Derived.
// Tolerance: rounding of 40,000 steps.
TEST(Cart, RollsHarderOnSoftGround) {
  plant::Drive drive(orchard_cart());
  drive.start({10.0, 0.0, -1.0});
  const double hard = 0.015 * 120.0 * g * 0.1 / 1.22;
  advance_by(drive, 0.1);
  drive.set_surface({4.0, 1.0});
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s / (10.0 - 0.1 * hard - 0.1 * 4.0 * hard), 1.0, 1e-11);

  drive.start();
  drive.set_surface({4.0, 1.0});
  drive.set_slope({-0.059, 0.0});
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  const plant::DriveState on_soft_ground = drive.state();
  drive.set_surface({});
  advance_by(drive, 0.1);
  const double rolls = 120.0 * g * 0.1 * std::sin(std::atan(0.059)) / 1.22 - hard;
  EXPECT_NEAR(drive.state().omega_m_rad_s / (0.1 * rolls), 1.0, 1e-11);
  // A checkpoint knows its ground.
  drive.restore(on_soft_ground);
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
}

// Terminal speed: T_slope - T_rolling = B omega. A light cart reaches it within 20 J/B = 2 s.
// Tolerance: exp(-20) = 2e-9.
TEST(Cart, ReachesTheSpeedAtWhichFrictionBalancesTheSlope) {
  plant::DriveParameters p = orchard_cart();
  p.shaft.cart_mass_kg = 2.0;
  p.shaft.viscous_friction_Nm_s_per_rad = 0.4;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  drive.start();
  drive.set_slope({-0.5, 0.0});
  advance_by(drive, 20.0 * (0.02 + 0.02) / 0.4);
  const double expected = 2.0 * g * 0.1 * (std::sin(std::atan(0.5)) - 0.015) / 0.4;
  EXPECT_NEAR(drive.state().omega_m_rad_s / expected, 1.0, 3e-9);
}

}  // namespace
}  // namespace stillrotor::reference
