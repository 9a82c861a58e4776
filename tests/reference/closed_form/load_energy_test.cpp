// Energy on the shaft, for every kind of load: what the machine gives becomes motion (or spring),
// heat, or goes to the load.
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <string>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::Coupling;

struct Case {
  std::string name;
  std::function<void(plant::DriveParameters&)> fit;
  std::function<void(plant::Drive&)> begin = [](plant::Drive&) {};
};
std::ostream& operator<<(std::ostream& out, const Case& c) { return out << c.name; }

/// By hand from the parameters: both masses and the spring.
double motion_J(const plant::Drive& drive) {
  const plant::ShaftParameters& s = drive.parameters().shaft;
  const plant::Snapshot at = drive.snapshot();
  const double w = at.omega_m_rad_s / s.gear_ratio, w_2 = at.omega_2_rad_s / s.gear_ratio;
  const double wheel_with = s.coupling == Coupling::slipping ? w : w_2;
  const double twist = drive.state().extra.twist_rad;
  return 0.5 * (s.inertia_kg_m2 * at.omega_m_rad_s * at.omega_m_rad_s +
                s.load_inertia_kg_m2 * wheel_with * wheel_with +
                s.cart_mass_kg * at.vehicle_m_s * at.vehicle_m_s +
                (s.coupling == Coupling::elastic ? s.stiffness_Nm_per_rad * twist * twist : 0.0));
}

class LoadEnergy : public testing::TestWithParam<Case> {};

// 60 ms of PWM into a salient machine whose field first pulls ahead and then falls behind, so that
// power goes both ways. Tolerance 1e-7 of what went through the shaft (the sum of its amounts, at
// least): steps of 2 us are (2/5)^4 = 1/40 of the 6e-7 that the electrical balance has at 5 us.
TEST_P(LoadEnergy, BalancesOnTheShaft) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.winding_resistance_ohm = 0.2;
  p.shaft.inertia_kg_m2 = 1e-3;
  p.step_max_s = 2e-6;
  GetParam().fit(p);
  const double w = plant::two_pi * 100.0;
  plant::Drive drive(p);
  drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
  drive.keep_ledger(true);
  GetParam().begin(drive);
  const auto reference = [&](double t) {
    const double swing = 1.8 * std::cos(120.0 * t);
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] =
          0.7 * std::cos(w * t + 1.6 + swing - k * plant::two_pi / 3.0);
    return r;
  };
  const auto edges = natural_pwm_edges({reference, 16e3, 1e-6}, 960);
  const double before_J = motion_J(drive);
  Integrals through(drive, 1, [](double, const plant::Snapshot& s, double* out) {
    out[0] = std::abs(s.torque_Nm * s.omega_m_rad_s);
  });
  replay(drive, edges, 0, ps(60e-3), &through);
  const plant::DriveState& s = drive.state();
  const double missing = s.mechanical_J - (motion_J(drive) - before_J) - s.shaft_heat_J - s.load_J;
  ASSERT_GT(through.integral(0), 1.0);
  EXPECT_LT(std::abs(missing) / through.integral(0), 1e-7);
  EXPECT_GE(s.shaft_heat_J, 0.0);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

void geared_cart(plant::DriveParameters& p) {
  p.shaft.gear_ratio = 8.0;
  p.shaft.wheel_radius_m = 0.2;
  p.shaft.cart_mass_kg = 6.0;
  p.shaft.load_inertia_kg_m2 = 0.05;
  p.shaft.rolling_resistance = 0.02;
  p.shaft.coulomb_friction_Nm = 0.02;
}

INSTANTIATE_TEST_SUITE_P(
    Kinds, LoadEnergy,
    testing::Values(
        Case{"cart_with_drag",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.drag_area_m2 = 5.0;
             }},
        Case{"cart_in_the_wind",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.drag_area_m2 = 5.0;
             },
             [](plant::Drive& d) {
               d.set_wind_m_s({3.0, 20.0});
               d.set_slope({0.05, 0.3});
             }},
        Case{"fan",
             [](plant::DriveParameters& p) { p.shaft.quadratic_drag_Nm_s2_per_rad2 = 1e-5; }},
        Case{"pump",
             [](plant::DriveParameters& p) {
               p.shaft.quadratic_drag_Nm_s2_per_rad2 = 1e-5;
               p.shaft.static_torque_Nm = 0.1;
             }},
        Case{"constant_torque",
             [](plant::DriveParameters& p) { p.shaft.constant_torque_Nm = 0.3; }},
        Case{"constant_power", [](plant::DriveParameters& p) { p.shaft.constant_power_W = 60.0; }},
        Case{"stiff_dynamometer",
             [](plant::DriveParameters& p) { p.shaft.hold = plant::Hold::start_speed; }},
        Case{"soft_dynamometer",
             [](plant::DriveParameters& p) {
               p.shaft.hold = plant::Hold::start_speed;
               p.shaft.hold_gain_Nm_s_per_rad = 0.3;
               p.shaft.hold_torque_limit_Nm = 0.4;
             }},
        Case{"lossy_gear",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.gear_efficiency = 0.85;
             }},
        Case{"freewheel",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.coupling = Coupling::freewheel;
             }},
        Case{"freewheel_with_lossy_gear_and_pedals",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.coupling = Coupling::freewheel;
               p.shaft.gear_efficiency = 0.9;
               p.shaft.pedal_ripple = 0.8;
               p.shaft.pedal_gear = 2.0;
             },
             [](plant::Drive& d) {
               d.set_pedal_Nm({4.0, 0.0});
             }},
        Case{"spring",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.coupling = Coupling::elastic;
               p.shaft.stiffness_Nm_per_rad = 20.0;
               p.shaft.torsion_damping_Nm_s_per_rad = 0.01;
             }},
        Case{"tyre",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.coupling = Coupling::slipping;
               p.shaft.peak_friction = 0.3;
               p.shaft.slide_friction = 0.2;
             }},
        Case{"tyre_with_lossy_gear",
             [](plant::DriveParameters& p) {
               geared_cart(p);
               p.shaft.coupling = Coupling::slipping;
               p.shaft.gear_efficiency = 0.9;
             }}),
    [](const auto& kind) { return kind.param.name; });

}  // namespace
}  // namespace stillrotor::reference
