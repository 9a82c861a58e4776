// Loads on one shaft: fan, pump, hanging load, constant power, pedals, dynamometer, wind.
// All gates are off and the EMF stays below the bus, so the machine gives no torque.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

constexpr double j = 1e-3;  // stiff_drive's inertia [kg m^2]

// J domega/dt = -k omega^2 separates: omega = omega_0 / (1 + k omega_0 t / J). Derived.
// Tolerance: RK4 with (h k omega_0 / J)^4 / 120 = (5e-6 * 1)^4 / 120, below rounding.
TEST(CoastDown, FollowsAHyperbolaWithQuadraticDrag) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.quadratic_drag_Nm_s2_per_rad2 = 1e-5;
  plant::Drive drive(p);
  drive.start({100.0, 0.0, -1.0});
  for (int n = 1; n <= 10; ++n) {
    advance_by(drive, 0.1);
    const double t = 0.1 * n;
    EXPECT_NEAR(drive.state().omega_m_rad_s, 100.0 / (1.0 + 1e-5 * 100.0 * t / j), 1e-11);
  }
}

// Affinity laws of fans and pumps: torque as the square, power as the cube of speed. Source:
// textbook, from memory. Twice the speed: 4 times the torque, 8 times the power.
TEST(FanLoad, KeepsTheAffinityLaws) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.quadratic_drag_Nm_s2_per_rad2 = 2e-5;
  plant::Drive drive(p);
  drive.start();
  drive.hold_speed_rad_s({50.0, 0.0});
  const plant::Snapshot slow = drive.snapshot();
  drive.hold_speed_rad_s({100.0, 0.0});
  const plant::Snapshot quick = drive.snapshot();
  EXPECT_DOUBLE_EQ(slow.load_Nm, 0.05);  // 2e-5 * 50^2
  EXPECT_DOUBLE_EQ(quick.load_Nm / slow.load_Nm, 4.0);
  EXPECT_DOUBLE_EQ(quick.load_Nm * quick.omega_m_rad_s / (slow.load_Nm * slow.omega_m_rad_s), 8.0);
}

// Static head behind a non-return valve holds the shaft and never drives it back; turning, it adds
// to the square law. From omega_0: omega = sqrt(T_s/k) tan(atan(omega_0 sqrt(k/T_s)) - t sqrt(T_s
// k)/J). Derived (separation). At rest it stays.
TEST(PumpLoad, AddsItsStaticHeadToTheSquareLawAndDoesNotTurnBack) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.quadratic_drag_Nm_s2_per_rad2 = 1e-5;
  p.shaft.static_torque_Nm = 0.04;
  plant::Drive drive(p);
  drive.start({80.0, 0.0, -1.0});
  const double scale = std::sqrt(0.04 / 1e-5), rate = std::sqrt(0.04 * 1e-5) / j;
  const double stop_s = std::atan(80.0 / scale) / rate;
  for (int n = 1; n < 10; ++n) {
    advance_to(drive, ps(0.1 * n * stop_s));
    const double t = seconds(drive.state());
    EXPECT_NEAR(drive.state().omega_m_rad_s, scale * std::tan(std::atan(80.0 / scale) - rate * t),
                1e-10);
  }
  advance_to(drive, ps(stop_s + 0.1));
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
}

// A hanging load falls when nothing holds it: 0.02 N m / 1e-3 kg m^2 = 20 rad/s^2, backwards.
TEST(ConstantTorqueLoad, DrivesTheShaftBackWhenNothingHoldsIt) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.constant_torque_Nm = 0.02;
  plant::Drive drive(p);
  drive.start();
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, -2.0, 1e-11);
}

// Above the floor J omega domega/dt = -P: omega^2 = omega_0^2 - 2 P t / J. Below it torque is P
// omega / omega_f^2: exponential with J omega_f^2 / P. Derived. By hand: from 60 to 20 rad/s at 2 W
// takes J (3600 - 400) / (2 P) = 0.8 s; then tau = 1e-3 * 400 / 2 = 0.2 s.
// Tolerance: one step spans the kink at the floor; slope jumps by 2 P / omega_f^2 / J = 10 /s over
// at most h * 100 rad/s^2 = 5e-4 rad/s: 10 * 5e-4 * 5e-6 / 2 = 1.3e-8 rad/s at most.
TEST(ConstantPowerLoad, TakesItsPowerAboveTheFloorAndFadesBelow) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.constant_power_W = 2.0;
  p.shaft.power_floor_rad_s = 20.0;
  plant::Drive drive(p);
  drive.start({60.0, 0.0, -1.0});
  advance_by(drive, 0.5);
  EXPECT_NEAR(drive.state().omega_m_rad_s, std::sqrt(3600.0 - 2.0 * 2.0 * 0.5 / j), 1e-10);
  advance_by(drive, 0.5);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 20.0 * std::exp(-0.2 / 0.2), 1.3e-8);
}

// Pedals on a free wheel from rest: the work of torque M (1 - r cos 2 theta) is M (theta - r/2 sin
// 2 theta) of the crank's angle theta, all of it motion. The crank turns 1 / (pedal gear * G) of
// the motor's angle. At half turns the ripple has done nothing: mean power is M times mean crank
// speed. Derived.
TEST(Pedals, DoTheWorkOfTheirMeanTorqueWhateverTheRipple) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.pedal_ripple = 0.9;
  p.shaft.pedal_gear = 2.0;
  p.shaft.gear_ratio = 3.0;
  p.shaft.load_inertia_kg_m2 = 9e-2;  // 0.01 at the motor
  plant::Drive drive(p);
  drive.start();
  drive.set_pedal_Nm({50.0, 0.0});
  for (int n = 0; n < 10; ++n) {
    advance_by(drive, 0.05);
    const plant::Snapshot s = drive.snapshot();
    const double crank = s.theta_m_rad / 6.0;
    const double work_J = 50.0 * (crank - 0.45 * std::sin(2.0 * crank));
    EXPECT_NEAR(0.5 * 0.011 * s.omega_m_rad_s * s.omega_m_rad_s, work_J, 1e-9 * work_J);
  }
  EXPECT_GT(drive.snapshot().theta_m_rad / 6.0, plant::pi);
  drive.set_pedal_Nm({0.0, 0.0});  // the pedals stop: the wheel goes on by itself
  const double before = drive.state().omega_m_rad_s;
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, before);
}

// A dynamometer of gain K under a load L: omega = set - L/K (1 - exp(-K t/J)); beyond its limit M
// it gives way with (M - L)/J. Linear, first order.
TEST(Dynamometer, OfFiniteStiffnessGivesWayByLoadOverGain) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.hold = plant::Hold::start_speed;
  p.shaft.hold_gain_Nm_s_per_rad = 0.05;
  p.shaft.hold_torque_limit_Nm = 0.2;
  plant::Drive drive(p);
  drive.start({70.0, 0.0, -1.0});
  drive.set_load_torque_Nm({0.1, 0.0});
  advance_by(drive, 0.03);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 70.0 - 2.0 * -std::expm1(-0.05 * 0.03 / j), 1e-11);
  advance_by(drive, 0.97);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 68.0, 1e-10);  // rounding of 200,000 steps
  drive.set_load_torque_Nm({0.3, 0.0});
  advance_by(drive, 1.0);  // well into the limit
  const double there = drive.state().omega_m_rad_s;
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s - there, (0.2 - 0.3) / j * 0.1, 1e-10);
}

TEST(Dynamometer, KeepsTheSpeedOfTheStartAndALockedRotorStaysAtRest) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.hold = plant::Hold::start_speed;
  plant::Drive held(p);
  held.start({70.0, 0.0, -1.0});
  held.set_load_torque_Nm({5.0, 0.0});
  advance_by(held, 0.1);
  EXPECT_EQ(held.state().omega_m_rad_s, 70.0);
  p.shaft.hold = plant::Hold::locked;
  plant::Drive locked(p);
  locked.start({70.0, 0.0, -1.0});
  only_on(locked, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(locked, 0.01);
  EXPECT_GT(std::abs(locked.snapshot().current_A.U), 100.0);
  EXPECT_EQ(locked.state().omega_m_rad_s, 0.0);
}

// Headwind w on a vehicle that rolls without friction: with u = v + w, m du/dt = -1/2 rho CdA u^2,
// so v = w / (1 + c w t) - w, c = rho CdA / (2 m). Derived. By hand: c = 1.225 * 2 / (2 * 10) =
// 0.1225 /m. Tolerance: the motor's 1e-9 kg m^2 beside 10 kg * (0.25 m)^2 is 2e-9 of it.
TEST(Wind, BlowsAVehicleAlong) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 1e-9;
  p.shaft.cart_mass_kg = 10.0;
  p.shaft.drag_area_m2 = 2.0;
  plant::Drive drive(p);
  drive.start();
  drive.set_wind_m_s({8.0, 0.0});
  for (int n = 1; n <= 10; ++n) {
    advance_by(drive, 0.2);
    EXPECT_NEAR(drive.snapshot().vehicle_m_s, 8.0 / (1.0 + 0.1225 * 8.0 * 0.2 * n) - 8.0, 1e-7);
  }
}

// Downhill from rest: m dv/dt = F - c v^2 with F = m g (sin - rolling), so v = v_t tanh(t F/(m
// v_t)), v_t = sqrt(F/c), the terminal speed. Derived; road load from a textbook, from memory:
// rolling resistance, slope, 1/2 rho CdA v^2. Same path as the fast steps (no wind).
TEST(RoadLoad, LeadsToTheTerminalSpeedOfTheSlope) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 1e-9;
  p.shaft.cart_mass_kg = 10.0;
  p.shaft.drag_area_m2 = 2.0;
  p.shaft.rolling_resistance = 0.02;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  drive.start();
  drive.set_slope({-0.1, 0.0});
  const double force_N = 10.0 * 9.80665 * (std::sin(std::atan(0.1)) - 0.02);
  const double terminal = std::sqrt(force_N / 1.225);
  for (int n = 1; n <= 8; ++n) {
    advance_by(drive, 2.0);
    EXPECT_NEAR(drive.snapshot().vehicle_m_s,
                terminal * std::tanh(2.0 * n * force_N / (10.0 * terminal)), 1e-7);
  }
  // What tanh still misses at 16 s F/(m v_t) = 4.945: 2 exp(-9.89) = 1.0e-4 of 2.52 m/s.
  EXPECT_NEAR(drive.snapshot().vehicle_m_s, terminal, 3e-4);
}

}  // namespace
}  // namespace stillrotor::reference
