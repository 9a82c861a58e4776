// The cable between supply and link: series circuit of R (source), L (cable), ESR and C.
//   L di/dt = V - (R + ESR) i - v_C,  C dv_C/dt = i;  v_dc = v_C + ESR i.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>

#include "tests/reference/support/drive_setup.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::SupplyKind;

plant::DriveParameters cabled(SupplyKind kind, double source_ohm) {
  plant::DriveParameters p;
  p.supply = {kind, 48.0, source_ohm, 1e9, 2e-6};
  p.dc_link = {500e-6, 5e-3};
  p.machine.flux_linkage_Wb = 1e-3;
  return p;
}

struct Answer {
  double cap_V, cable_A;
};

/// Step response from v_C = v_0, i = 0: two complex roots, which serves damped and ringing alike.
/// Source: textbook (series RLC circuit), derived.
Answer step_response(const plant::DriveParameters& p, double from_V, double t) {
  using Complex = std::complex<double>;
  const double r = p.supply.resistance_ohm + p.dc_link.series_resistance_ohm;
  const double l = p.supply.cable_inductance_H, c = p.dc_link.capacitance_F;
  const Complex root = std::sqrt(Complex(r * r / (4.0 * l * l) - 1.0 / (l * c)));
  const Complex a = -r / (2.0 * l) + root, b = -r / (2.0 * l) - root;
  const double gap = from_V - p.supply.voltage_V;
  // v - V = gap (b e^at - a e^bt)/(b - a), i = C dv/dt
  const Complex v = gap * (b * std::exp(a * t) - a * std::exp(b * t)) / (b - a);
  const Complex i = c * gap * a * b * (std::exp(a * t) - std::exp(b * t)) / (b - a);
  return {p.supply.voltage_V + v.real(), i.real()};
}

// Bridge off. Ringing: 10 mohm against sqrt(L/C) = 63 mohm, damping 0.12; damped: 400 mohm.
// Tolerance: RK4 with steps of a tenth of sqrt(LC) at most: 0.1^4/120 = 8e-7 of the swing a radian,
// gone after 1/damping = 8 radians: 6e-6 of 28 V, half of it in the middle; damped: an eighth of
// the fastest time constant, (1/8)^4/120/e = 7.5e-7 of 28 V.
TEST(Cable, RingsWithTheLinkAsASeriesCircuitDoes) {
  for (const double source_ohm : {10e-3, 400e-3}) {
    const plant::DriveParameters p = cabled(SupplyKind::battery, source_ohm);
    plant::Drive drive(p);
    drive.start({0.0, 0.0, 20.0});
    double highest_V = 0.0;
    for (int n = 1; n <= 200; ++n) {
      const double t = n * 2e-6;
      advance_to(drive, ps(t));
      const Answer expected = step_response(p, 20.0, t);
      const double allowed_V = source_ohm < 0.1 ? 1e-4 : 2.1e-5;
      EXPECT_NEAR(drive.state().v_cap_V, expected.cap_V, allowed_V);
      EXPECT_NEAR(drive.state().extra.i_cable_A, expected.cable_A, allowed_V / 63e-3);
      EXPECT_NEAR(drive.snapshot().bus_V, expected.cap_V + 5e-3 * expected.cable_A,
                  2.0 * allowed_V);
      highest_V = std::max(highest_V, drive.state().v_cap_V);
    }
    if (source_ohm < 0.1)
      EXPECT_GT(highest_V, 60.0);  // it does ring
    else
      EXPECT_LT(highest_V, 48.0);
  }
}

// Fourth order: a half of the step, a sixteenth of the error.
TEST(Cable, IsIntegratedToFourthOrder) {
  plant::DriveParameters p = cabled(SupplyKind::battery, 10e-3);
  const auto error_V = [&](double step_s) {
    p.step_max_s = step_s;
    plant::Drive drive(p);
    drive.start({0.0, 0.0, 20.0});
    advance_to(drive, ps(120e-6));
    return std::abs(drive.state().v_cap_V - step_response(p, 20.0, 120e-6).cap_V);
  };
  EXPECT_NEAR(error_V(2e-6) / error_V(1e-6), 16.0, 1.0);
}

// A supply that cannot sink: the first half swing carries the link to its top, the current ends
// there and the link stays. First zero of i after the start at t = pi/w_d, with
// v_C = V + (V - v_0) exp(-pi d/w_d), d = R/(2L). Textbook, derived.
// Tolerance: as above, one half swing: pi 8e-7 of 28 V.
TEST(Cable, CurrentOfASupplyThatCannotSinkEndsAtItsZero) {
  const plant::DriveParameters p = cabled(SupplyKind::bench_supply, 10e-3);
  plant::Drive drive(p);
  drive.start({0.0, 0.0, 20.0});
  advance_to(drive, ps(400e-6));
  const double d = 15e-3 / (2.0 * 2e-6), w = std::sqrt(1.0 / (2e-6 * 500e-6) - d * d);
  EXPECT_NEAR(drive.state().v_cap_V, 48.0 + 28.0 * std::exp(-plant::pi * d / w), 7e-5);
  EXPECT_EQ(drive.state().extra.i_cable_A, 0.0);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::blocked);
  EXPECT_EQ(drive.health().forced_steps, 0u);
}

// The moment of the zero is found, not stepped over: one accepted step ends there.
TEST(Cable, ZeroOfTheCurrentIsLandedOn) {
  const plant::DriveParameters p = cabled(SupplyKind::bench_supply, 10e-3);
  plant::Drive drive(p);
  drive.start({0.0, 0.0, 20.0});
  const double d = 15e-3 / (2.0 * 2e-6), w = std::sqrt(1.0 / (2e-6 * 500e-6) - d * d);
  double at_s = 0.0;
  EachStep watch([&](const plant::Segment& step) {
    if (step.end->extra.i_cable_A > 0.0 || at_s > 0.0) return;
    at_s = seconds(*step.end);
  });
  advance_to(drive, ps(400e-6), &watch);
  // Tolerance: phase error 8e-7 of pi radians: 0.25 ns of 100 us.
  EXPECT_NEAR(at_s, plant::pi / w, 1e-9);
}

// The connector parts while 1/2 L i^2 stands in the cable: that energy burns in the arc, and the
// books still balance. By hand: i from the closed form.
TEST(Cable, EnergyOfACutCurrentIsAccountedForAsHeat) {
  const plant::DriveParameters p = cabled(SupplyKind::battery, 10e-3);
  plant::Drive drive(p);
  drive.start({0.0, 0.0, 20.0});
  drive.keep_ledger(true);
  const double before_J = 0.5 * 500e-6 * 20.0 * 20.0;
  advance_to(drive, ps(40e-6));
  const double i = drive.state().extra.i_cable_A;
  EXPECT_NEAR(i, step_response(p, 20.0, 40e-6).cable_A, 1e-3);
  const double heat_J = drive.state().dissipated_J;
  drive.set_supply_interrupted(true);
  EXPECT_NEAR(drive.state().dissipated_J - heat_J, 0.5 * 2e-6 * i * i, 1e-12);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  advance_by(drive, 100e-6);
  const double v = drive.state().v_cap_V, stored_J = 0.5 * 500e-6 * v * v - before_J;
  EXPECT_NEAR(drive.state().supplied_J, stored_J + drive.state().dissipated_J,
              1e-6 * drive.state().supplied_J);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  drive.set_supply_interrupted(false);
  advance_by(drive, 1e-6);
  EXPECT_GT(drive.snapshot().supply_A, 0.0);
}

// A drive that takes constant power P looks to the link like the negative resistance -V^2/P. With
// source resistance R and cable L it is stable only while  R C V^2/P > L  and  V^2/P > R.
// Source: textbook (small-signal stability of a constant-power load behind an LC filter), derived:
// s^2 L C + s (R C - L P/V^2) + 1 - R P/V^2.
TEST(Cable, ConstantPowerMakesAWeakSupplyUnstableWhereTheFormulaSays) {
  // The bridge's mean input is d^2 V/R_load for a buck-driven resistance; constant power asks
  // d = sqrt(P R_load)/v_dc, set anew every carrier period of 5 us (far above the resonance).
  const auto grows = [](double power_W) {
    plant::DriveParameters p = cabled(SupplyKind::battery, 20e-3);
    p.supply.cable_inductance_H = 40e-6;
    p.dc_link = {100e-6, 0.0};
    p.machine.winding_resistance_ohm = 0.5;
    p.machine.inductance_d_H = p.machine.inductance_q_H = 20e-6;
    const double load_ohm = 1.5 * (0.5 + p.bridge.switch_on_resistance_ohm);
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
    const double period_s = 5e-6;
    double early_V = 0.0, late_V = 0.0;
    for (int n = 0; n < 8000; ++n) {
      const double bus_V = drive.snapshot().bus_V;
      const double duty = std::min(0.95, std::sqrt(power_W * load_ohm) / bus_V);
      drive.set_switch(Switch::UL, false);
      drive.set_switch(Switch::UH, true);
      advance_by(drive, duty * period_s);
      drive.set_switch(Switch::UH, false);
      drive.set_switch(Switch::UL, true);
      advance_by(drive, (1.0 - duty) * period_s);
      const double swing_V = std::abs(drive.state().v_cap_V - 47.0);
      if (n >= 1000 && n < 2000) early_V = std::max(early_V, swing_V);
      if (n >= 7000) late_V = std::max(late_V, swing_V);
    }
    return late_V > early_V;
  };
  // R C V^2/P = L at P = R C V^2/L = 20e-3 * 100e-6 * 48^2/40e-6 = 115 W. A period of delay in the
  // regulator moves it a little; a factor of 1.5 to either side decides.
  EXPECT_FALSE(grows(115.0 / 1.5));
  EXPECT_TRUE(grows(115.0 * 1.5));
}

}  // namespace
}  // namespace stillrotor::reference
