// Motor side and load side with a speed of their own: spring, freewheel, lossy gear, tyre.
// All gates are off and the EMF stays below the bus, so the machine gives no torque; a dynamometer
// at its limit gives a constant one.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::Coupling;

plant::DriveParameters pair_of_masses(Coupling coupling) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coupling = coupling;
  p.shaft.inertia_kg_m2 = 2e-3;
  p.shaft.load_inertia_kg_m2 = 6e-3;
  return p;
}

void set_motion(plant::Drive& drive, double omega, double omega_2, double twist_rad) {
  plant::DriveState s = drive.state();
  s.apart = true;
  s.omega_m_rad_s = omega;
  s.extra.omega_2_rad_s = omega_2;
  s.extra.twist_rad = twist_rad;
  drive.restore(s);
}

// Drives the motor side with this constant torque: far from its set speed the dynamometer stands at
// its limit.
void push(plant::Drive& drive, double sign) { drive.hold_speed_rad_s({sign * 1e6, 0.0}); }

// Free two-mass oscillation: twist = A cos(w t), w = sqrt(k (1/J_1 + 1/J_2)). Source: textbook,
// from memory. By hand: 60 * (500 + 166.67) = 4e4, w = 200 rad/s. Energy 1/2 k A^2 stays.
// Tolerance: h w = 1e-3; RK4 turns by (h w)^5/120 too far a step, 2e5 steps: 2e-12 rad.
TEST(TwoMasses, SwingAtTheFrequencyOfTheSpringBetweenThem) {
  plant::DriveParameters p = pair_of_masses(Coupling::elastic);
  p.shaft.stiffness_Nm_per_rad = 60.0;
  plant::Drive drive(p);
  drive.start({10.0, 0.0, -1.0});
  set_motion(drive, 10.0, 10.0, 0.05);
  for (int n = 1; n <= 100; ++n) {
    advance_by(drive, 0.01);
    const plant::DriveState& s = drive.state();
    const double t = 0.01 * n, u = -0.05 * 200.0 * std::sin(200.0 * t);
    EXPECT_NEAR(s.extra.twist_rad, 0.05 * std::cos(200.0 * t), 1e-11);
    EXPECT_NEAR(s.omega_m_rad_s, 10.0 + 0.75 * u, 2e-9);  // J_2 / (J_1 + J_2) of the difference
    EXPECT_NEAR(s.extra.omega_2_rad_s, 10.0 - 0.25 * u, 2e-9);
    const double energy_J = 0.5 * (2e-3 * s.omega_m_rad_s * s.omega_m_rad_s +
                                   6e-3 * s.extra.omega_2_rad_s * s.extra.omega_2_rad_s +
                                   60.0 * s.extra.twist_rad * s.extra.twist_rad);
    EXPECT_NEAR(energy_J, 0.5 * (8e-3 * 100.0 + 60.0 * 0.0025), 1e-11);
  }
}

// With damping c between them the swing dies as exp(-d t), d = c/2 (1/J_1 + 1/J_2), at sqrt(w^2 -
// d^2). By hand: 0.06 / 2 * 666.67 = 20 /s. Textbook, from memory.
TEST(TwoMasses, SwingDiesWithTheDampingBetweenThem) {
  plant::DriveParameters p = pair_of_masses(Coupling::elastic);
  p.shaft.stiffness_Nm_per_rad = 60.0;
  p.shaft.torsion_damping_Nm_s_per_rad = 0.06;
  plant::Drive drive(p);
  drive.start();
  set_motion(drive, 0.0, 0.0, 0.05);
  const double w = std::sqrt(4e4 - 400.0);
  for (int n = 1; n <= 20; ++n) {
    advance_by(drive, 0.005);
    const double t = 0.005 * n;
    EXPECT_NEAR(drive.state().extra.twist_rad,
                0.05 * std::exp(-20.0 * t) * (std::cos(w * t) + 20.0 / w * std::sin(w * t)), 1e-11);
  }
}

// Coulomb friction on the motor side, rolling friction on the load side: the spring moves the load
// while the motor side stands, until k twist exceeds its friction. A load ramp of 1 N m/s on a
// spring of 60 N m/rad: the load side follows quasi-statically, the motor side lets go when the
// spring carries 0.3 N m, that is near 0.3 s (the ramp excites a swing of amplitude rate/w = 0.01 N
// m: within 11 ms).
TEST(TwoMasses, EachStandsByItsOwnFriction) {
  plant::DriveParameters p = pair_of_masses(Coupling::elastic);
  p.shaft.stiffness_Nm_per_rad = 60.0;
  p.shaft.coulomb_friction_Nm = 0.3;
  plant::Drive drive(p);
  drive.start();
  drive.set_load_torque_Nm({0.0, 1.0});
  advance_by(drive, 0.28);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_EQ(drive.state().rotation, 0);
  EXPECT_NEAR(drive.state().extra.twist_rad, 0.28 / 60.0, 0.011 / 60.0);
  double let_go_Nm = 0.0;
  EachStep look([&](const plant::Segment& s) {
    if (let_go_Nm == 0.0 && s.end->omega_m_rad_s != 0.0)
      let_go_Nm = 60.0 * s.begin->extra.twist_rad;
  });
  advance_by(drive, 0.04, &look);
  EXPECT_NEAR(let_go_Nm, 0.3, 1e-8);
  // And the other way round: rolling friction 0.3 on the load side under 0.29 stands still.
  p.shaft.coulomb_friction_Nm = 0.0;
  p.shaft.static_torque_Nm = 0.3;
  plant::Drive other(p);
  other.start();
  other.set_load_torque_Nm({0.29, 0.0});
  advance_by(other, 0.1);
  EXPECT_EQ(other.state().extra.omega_2_rad_s, 0.0);
  other.set_load_torque_Nm({0.31, 0.0});
  advance_by(other, 0.01);
  EXPECT_LT(other.state().extra.omega_2_rad_s, 0.0);
}

// The load runs ahead at 10 rad/s and 0.06 N m brake it by 10 rad/s^2; the motor side goes on at 5.
// They meet after 0.5 s and lock: at equal speed, so momentum stays and no energy is lost; from
// then on 0.06 / 8e-3 = 7.5 rad/s^2 brake both. When the load drives instead, it opens again.
TEST(Freewheel, LocksAtEqualSpeedAndOpensWhenTheLoadOverruns) {
  plant::Drive drive(pair_of_masses(Coupling::freewheel));
  drive.start({5.0, 0.0, -1.0});
  set_motion(drive, 5.0, 10.0, 0.0);
  drive.set_load_torque_Nm({0.06, 0.0});
  advance_by(drive, 0.4);
  EXPECT_TRUE(drive.state().apart);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 5.0, 1e-12);
  EXPECT_NEAR(drive.state().extra.omega_2_rad_s, 6.0, 2e-10);  // rounding of 80,000 steps
  double locked_s = 0.0, momentum_before = 0.0, momentum_after = 0.0;
  EachStep look([&](const plant::Segment& s) {
    const double m = 2e-3 * s.end->omega_m_rad_s + 6e-3 * s.end->extra.omega_2_rad_s;
    if (seconds(*s.end) < 0.5) momentum_before = m + 0.06 * seconds(*s.end);
    if (locked_s == 0.0 && !drive.state().apart) {
      locked_s = seconds(*s.begin);
      momentum_after = m + 0.06 * seconds(*s.end);
    }
  });
  advance_by(drive, 0.3, &look);
  EXPECT_NEAR(locked_s, 0.5, 1e-9);
  EXPECT_NEAR(momentum_after, momentum_before, 1e-13);
  EXPECT_FALSE(drive.state().apart);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 5.0 - 7.5 * 0.2, 1e-10);
  EXPECT_NEAR(drive.snapshot().through_Nm, 0.06 * 2e-3 / 8e-3, 1e-12);  // braking the motor side
  drive.set_load_torque_Nm({-0.06, 0.0});
  EXPECT_TRUE(drive.state().apart);
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 3.5, 1e-10);
  EXPECT_NEAR(drive.state().extra.omega_2_rad_s, 4.5, 1e-10);
}

// A cart on a slope with friction on both sides. Downhill the wheel rolls off and the motor stands;
// uphill the wheel rolls back and takes the motor along: a = (m g r sin - rolling - T_c) / (J_1 +
// J_2).
TEST(Freewheel, LetsACartRollDownhillAndIsDraggedBackUphill) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coupling = Coupling::freewheel;
  p.shaft.cart_mass_kg = 10.0;  // on 0.25 m: 0.625 kg m^2
  p.shaft.rolling_resistance = 0.02;
  p.shaft.coulomb_friction_Nm = 0.1;
  const double pull = 10.0 * 9.80665 * 0.25 * std::sin(std::atan(0.05));
  const double rolling = 0.02 * 10.0 * 9.80665 * 0.25;
  plant::Drive drive(p);
  drive.start();
  drive.set_slope({-0.019, 0.0});
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.snapshot().vehicle_m_s, 0.0);
  drive.set_slope({-0.05, 0.0});
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  EXPECT_NEAR(drive.snapshot().omega_2_rad_s, (pull - rolling) / 0.625 * 0.1, 1e-11);
  drive.start();
  drive.set_slope({0.05, 0.0});
  advance_by(drive, 0.1);
  EXPECT_FALSE(drive.state().apart);
  EXPECT_NEAR(drive.state().omega_m_rad_s, -(pull - rolling - 0.1) / 0.626 * 0.1, 1e-11);
  // Enough motor friction holds the cart through the freewheel, on a slope that it would roll back.
  p.shaft.coulomb_friction_Nm = 1.0;
  plant::Drive held(p);
  held.start();
  held.set_slope({0.05, 0.0});
  advance_by(held, 0.1);
  EXPECT_EQ(held.snapshot().vehicle_m_s, 0.0);
}

plant::DriveParameters lossy_gear(double push_Nm) {
  plant::DriveParameters p = pair_of_masses(Coupling::rigid);
  p.shaft.gear_efficiency = 0.8;
  p.shaft.hold_gain_Nm_s_per_rad = 1.0;
  p.shaft.hold_torque_limit_Nm = push_Nm;
  p.step_max_s = 20e-6;
  return p;
}

struct Work {
  double omega, theta, heat_J, load_J;
};
Work after(double push_Nm, double push_sign, double load_Nm, double duration_s) {
  plant::Drive drive(lossy_gear(push_Nm));
  drive.start();
  drive.keep_ledger(true);
  push(drive, push_sign);
  drive.set_load_torque_Nm({load_Nm, 0.0});
  advance_by(drive, duration_s);
  const plant::Snapshot s = drive.snapshot();
  return {s.omega_m_rad_s, s.theta_m_rad, drive.state().shaft_heat_J, drive.state().load_J};
}

// Motor drives: J_1 a = D - T_x / eta with T_x = J_2 a + L. By hand, D = 1, L = 0.4, eta = 0.8:
// a = (1 - 0.5) / (2e-3 + 7.5e-3) = 52.63 rad/s^2, T_x = 0.7158 N m; of 1 N m and its angle the
// gear loses T_x (1/eta - 1).
TEST(LossyGear, TakesItsShareWhenTheMotorDrives) {
  const Work w = after(1.0, 1.0, 0.4, 0.1);
  const double a = 0.5 / 9.5e-3, through = 6e-3 * a + 0.4;
  EXPECT_NEAR(w.omega, a * 0.1, 1e-10);
  EXPECT_NEAR(w.heat_J, through * 0.25 * w.theta, 1e-10);
  EXPECT_NEAR(w.load_J, (0.4 - 1.0) * w.theta, 1e-10);
}

// Load drives backward against D: J_1 a = D - eta T_x, T_x = J_2 a + L; D = 0.1, L = 0.4: a = (0.1
// - 0.32) / (2e-3 + 4.8e-3) = -32.35 rad/s^2; T_x = 0.2059; lost: T_x (1 - eta) of the angle.
TEST(LossyGear, TakesItsShareWhenTheLoadDrives) {
  const Work w = after(0.1, 1.0, 0.4, 0.1);
  const double a = (0.1 - 0.32) / 6.8e-3, through = 6e-3 * a + 0.4;
  EXPECT_NEAR(w.omega, a * 0.1, 1e-10);
  EXPECT_NEAR(w.heat_J, through * 0.2 * -w.theta, 1e-10);
}

// Between eta L and L / eta its friction holds the load at rest: 0.32 to 0.5 N m for L = 0.4.
TEST(LossyGear, HoldsALoadBetweenTheTorquesOfBothDirections) {
  EXPECT_EQ(after(0.325, 1.0, 0.4, 0.05).omega, 0.0);
  EXPECT_EQ(after(0.495, 1.0, 0.4, 0.05).omega, 0.0);
  EXPECT_LT(after(0.315, 1.0, 0.4, 0.05).omega, 0.0);
  EXPECT_GT(after(0.505, 1.0, 0.4, 0.05).omega, 0.0);
}

// The power turns round while the shaft turns: load ramp L = 0.4 - 4 t under D = 0.1 from 50 rad/s.
// T_x passes zero when J_2 (D) + J_1 L = 0, that is L = -0.3, t = 0.175 s. Before, a = (D - L/eta)/
// (J_1 + J_2/eta), after it (D - eta L)/(J_1 + eta J_2): integrated by hand piece by piece.
TEST(LossyGear, TurnsRoundAtTheMomentWhenNothingGoesThroughIt) {
  plant::Drive drive(lossy_gear(0.1));
  drive.start({50.0, 0.0, -1.0});
  push(drive, 1.0);
  drive.set_load_torque_Nm({0.4, -4.0});
  advance_by(drive, 0.3);
  const auto gained = [](double g, double t0, double t1) {
    const auto sum = [g](double t) { return 0.1 * t - g * (0.4 * t - 2.0 * t * t); };
    return (sum(t1) - sum(t0)) / (2e-3 + g * 6e-3);
  };
  EXPECT_NEAR(drive.state().omega_m_rad_s,
              50.0 + gained(1.25, 0.0, 0.175) + gained(0.8, 0.175, 0.3), 1e-10);
  EXPECT_EQ(drive.state().power_flow, -1);
}

plant::DriveParameters on_tyres() {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coupling = Coupling::slipping;
  p.shaft.inertia_kg_m2 = 0.05;
  p.shaft.cart_mass_kg = 20.0;
  p.shaft.driven_weight_share = 0.6;
  p.step_max_s = 50e-6;
  return p;
}

// A wheel held at v_w under a vehicle at rest: whatever the tyre's curve, the tyre carries momentum
// m v_w at wheel speed v_w, so the dynamometer gives m v_w^2, half of it becomes motion and half
// heat. Derived. Greatest traction: mu_peak * share * m g, met as slip passes its peak; from a
// spinning start 1.1 times less at first.
// Tolerance: after 10 s the vehicle lags by less than 1e-9 of v_w; energy 1e-7.
TEST(Tyre, TurnsHalfOfAStandingStartIntoHeatAndPullsNoMoreThanItsGrip) {
  plant::Drive drive(on_tyres());
  drive.start();
  drive.keep_ledger(true);
  drive.hold_speed_rad_s({20.0, 0.0});  // 5 m/s
  double most_Nm = 0.0;
  EachStep look(
      [&](const plant::Segment&) { most_Nm = std::fmax(most_Nm, drive.snapshot().through_Nm); });
  const double grip_Nm = 0.8 * 0.6 * 20.0 * 9.80665 * 0.25;
  const double first_Nm = drive.snapshot().through_Nm;
  EXPECT_LT(first_Nm, 0.8 * grip_Nm);
  EXPECT_GT(first_Nm, 0.6 / 0.8 * grip_Nm);  // slide friction
  advance_by(drive, 5.0, &look);
  EXPECT_NEAR(drive.snapshot().vehicle_m_s, 5.0, 1e-8);
  EXPECT_LE(most_Nm, grip_Nm);
  EXPECT_NEAR(most_Nm, grip_Nm, 1e-6 * grip_Nm);  // a step lies within 1e-3 of the peak's slip
  EXPECT_NEAR(drive.state().shaft_heat_J, 0.5 * 20.0 * 25.0, 1e-7 * 250.0);
  EXPECT_NEAR(drive.state().load_J, -20.0 * 25.0, 1e-7 * 500.0);
}

// Locked wheel, sliding vehicle: slip -1 at speeds far above the floor. By hand from the curve's
// header: C = 2 - 2/pi asin(0.75), B = tan(pi/2C)/0.15; mu(1) = 0.8 sin(C atan B).
TEST(Tyre, ALockedWheelSlidesByTheCurveAtFullSlip) {
  plant::Drive drive(on_tyres());
  drive.start();
  set_motion(drive, 0.0, 200.0, 0.0);  // 50 m/s: the floor of 0.5 m/s changes slip by 5e-5
  drive.hold_speed_rad_s({0.0, 0.0});
  const double c = 2.0 - 2.0 / plant::pi * std::asin(0.75),
               b = std::tan(plant::pi / (2.0 * c)) / 0.15;
  const double mu = 0.8 * std::sin(c * std::atan(b));
  const double before = drive.snapshot().vehicle_m_s;
  advance_by(drive, 0.1);
  const double slowing = (before - drive.snapshot().vehicle_m_s) / 0.1;
  EXPECT_NEAR(slowing, mu * 0.6 * 9.80665, 1e-4 * mu * 0.6 * 9.80665);
  EXPECT_GT(mu, 0.6);
}

// The same sliding on ice, a fifth of the grip, with a fault that leaves half of it: both count.
TEST(Tyre, TakesItsGripFromTheSurfaceAndFromAFault) {
  plant::Drive drive(on_tyres());
  const auto slowing = [&](const plant::RoadSurface& road, double fault) {
    drive.start();
    set_motion(drive, 0.0, 200.0, 0.0);
    drive.hold_speed_rad_s({0.0, 0.0});
    drive.set_surface(road);
    drive.set_grip_share(fault);
    const double before = drive.snapshot().vehicle_m_s;
    advance_by(drive, 0.01);
    return (before - drive.snapshot().vehicle_m_s) / 0.01;
  };
  const double dry = slowing({}, 1.0);
  EXPECT_NEAR(slowing({1.0, 0.2}, 1.0) / dry, 0.2, 1e-4);
  EXPECT_NEAR(slowing({1.0, 0.2}, 0.5) / dry, 0.1, 1e-4);
}

// Gentle driving hardly slips: at small slip torque is grip * C B slip, here a vehicle of 5 m/s
// under 1 N m constant: slip = 1 / (grip C B) to first order, and both accelerate together.
TEST(Tyre, HardlySlipsUnderGentleDriving) {
  plant::DriveParameters p = on_tyres();
  p.shaft.hold_gain_Nm_s_per_rad = 1.0;
  p.shaft.hold_torque_limit_Nm = 1.0;
  plant::Drive drive(p);
  drive.start({20.0, 0.0, -1.0});
  push(drive, 1.0);
  advance_by(drive, 0.5);
  const plant::Snapshot s = drive.snapshot();
  const double c = 2.0 - 2.0 / plant::pi * std::asin(0.75),
               b = std::tan(plant::pi / (2.0 * c)) / 0.15;
  const double grip_Nm = 0.8 * 0.6 * 20.0 * 9.80665 * 0.25, whole = 0.05 + 20.0 / 16.0;
  EXPECT_NEAR(0.05 * s.omega_m_rad_s + 1.25 * s.omega_2_rad_s, whole * 20.0 + 0.5, 1e-10);
  const double expected = 20.0 / 16.0 / whole / (grip_Nm * c * b);
  // Third order of sin(C atan) and the floor (0.5 %): 2 % is room for both.
  EXPECT_NEAR((s.omega_m_rad_s - s.omega_2_rad_s) / s.omega_2_rad_s, expected, 0.02 * expected);
}

}  // namespace
}  // namespace stillrotor::reference
