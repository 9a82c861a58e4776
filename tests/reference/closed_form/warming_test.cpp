// The drive warms itself: heat of windings and legs in their bodies, and what it changes.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::HeatNode;
using plant::TemperatureNode;

/// Hardly any heat leaves the bodies in the second that a check takes.
plant::DriveParameters insulated() {
  plant::DriveParameters p;
  p.thermal.fitted = true;
  p.thermal.winding_capacity_J_per_K = p.thermal.magnet_capacity_J_per_K = 20.0;
  p.thermal.winding_to_housing_K_per_W = p.thermal.magnet_to_housing_K_per_W = 1e6;
  p.thermal.housing_to_ambient_K_per_W = p.thermal.heatsink_to_ambient_K_per_W = 1e6;
  p.thermal.ambient_K = p.machine.reference_temperature_K;
  return p;
}

// Field-like PWM currents in a rotor that a dynamometer turns. C dT of winding and heatsink against
// Gauss-Legendre integrals of R i^2 and r i^2 - e i over the same steps: what the plant gathers is
// exact for straight lines, so the difference is the curvature of the currents in a step of 5 us,
// below (h^2 i''/8)^2, 1e-6 of i^2.
TEST(Warming, TakesTheWindingsAndLegsHeatIntoTheirBodies) {
  plant::DriveParameters p = insulated();
  p.step_max_s = 5e-6;
  plant::Drive drive(p);
  const double w = plant::two_pi * 100.0;
  drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
  hold_electrical(drive, w);
  const auto reference = [&](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = 0.6 * std::cos(w * t + 1.8 - k * plant::two_pi / 3.0);
    return r;
  };
  Integrals sums(drive, 2, [&](double, const plant::Snapshot& s, double* out) {
    const double i[3] = {s.current_A.U, s.current_A.V, s.current_A.W};
    const double v[3] = {s.terminal_V.U, s.terminal_V.V, s.terminal_V.W};
    out[0] = out[1] = 0.0;
    for (int k = 0; k < 3; ++k) {
      out[0] += drive.state().machine.winding_ohm[k] * i[k] * i[k];
      // Into a leg from the bus less what it gives to the machine.
      const plant::Conduction c = drive.state().leg[k];
      const bool high = c == plant::Conduction::high_switch || c == plant::Conduction::high_diode;
      out[1] += ((high ? s.bus_V : 0.0) - v[k]) * i[k];
    }
  });
  const double to_s = 0.2;  // two hundred ticks
  replay(drive, natural_pwm_edges({reference, 16e3, 1e-6}, 3200), 0, ps(to_s) - 1, &sums);
  advance_to(drive, ps(to_s), &sums);
  const plant::ThermalState& bodies = drive.state().warming.bodies;
  const double winding_J = 20.0 * (bodies.at(HeatNode::winding) - p.thermal.ambient_K);
  const double legs_J =
      p.thermal.heatsink_capacity_J_per_K * (bodies.at(HeatNode::heatsink) - p.thermal.ambient_K);
  ASSERT_GT(winding_J, 1.0);
  EXPECT_NEAR(winding_J / sums.integral(0), 1.0, 1e-5);
  EXPECT_NEAR(legs_J / sums.integral(1), 1.0, 1e-5);
}

// Copper: 0.393 %/K of the resistance at 20 degC (IEC 60028, from memory); magnets lose 0.11 %/K
// (common practice). 100 K warmer by hand: R 1.393, psi 0.89. The winding's linkage stays, so the
// current on the d axis rises by what the magnets lose over L_d.
TEST(Warming, RaisesResistanceAndWeakensMagnets) {
  plant::DriveParameters p = stiff_drive();
  p.thermal.fitted = true;
  p.thermal.ambient_K = 293.15;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {10.0, 5.0});
  const auto linkage = drive.linkage_Wb();
  drive.set_temperature_C(TemperatureNode::winding, 120.0);
  EXPECT_NEAR(drive.state().machine.winding_ohm[0], 1.393 * p.machine.winding_resistance_ohm,
              1e-12);
  drive.set_temperature_C(TemperatureNode::magnet, 120.0);
  const double lost_Wb = 0.11 * p.machine.flux_linkage_Wb;
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, p.machine.flux_linkage_Wb - lost_Wb, 1e-15);
  EXPECT_NEAR(drive.state().i_alpha_A, 10.0 + lost_Wb / p.machine.inductance_d_H, 1e-9);
  EXPECT_NEAR(drive.state().i_beta_A, 5.0, 1e-9);
  EXPECT_NEAR(drive.linkage_Wb()[0], linkage[0], 1e-15);
  EXPECT_NEAR(drive.linkage_Wb()[1], linkage[1], 1e-15);
}

// A winding on constant voltage: its resistance follows its temperature, its heat falls with it:
//   C dT/dt = U^2 / R(T), R = R_0 (1 + a x), x = T - T_0  =>  x + a x^2 / 2 = U^2 t / (R_0 C).
// Derived (separation of variables). Two phases fed, switches of 1 uohm; the current's rise (L/R =
// 0.3 ms) is left out by waiting for the first 10 ms. Ticks of 1 ms see R one tick late: relative
// error of the rise below dT per tick times a, 4e-5.
TEST(Warming, OfAWindingOnConstantVoltageFollowsItsOwnResistance) {
  plant::DriveParameters p = insulated();
  p.bridge.switch_on_resistance_ohm = 1e-6;
  p.machine.winding_resistance_ohm = 0.5;
  p.supply = {};
  p.supply.voltage_V = 48.0;
  p.supply.resistance_ohm = 1e-6;
  p.dc_link.capacitance_F = 10.0;
  p.dc_link.series_resistance_ohm = 0.0;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  const auto reached = [&](double t) {  // of both windings, which share one body
    advance_to(drive, ps(t));
    const double x = drive.state().warming.bodies.at(HeatNode::winding) - p.thermal.ambient_K;
    return x + 0.5 * p.machine.winding_temperature_coefficient_per_K * x * x;
  };
  const double before = reached(10e-3), after = reached(510e-3);
  const double expected = 48.0 * 48.0 / (2.0 * 0.5 * 20.0) * 0.5;
  EXPECT_NEAR((after - before) / expected, 1.0, 5e-4);
}

}  // namespace
}  // namespace stillrotor::reference
