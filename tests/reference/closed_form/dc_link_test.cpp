// DC link and what feeds it. Node equations: v = v_C + ESR (i_s - i_dc), C dv_C/dt = i_s - i_dc.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

plant::DriveParameters linked(plant::SupplyKind kind) {
  plant::DriveParameters p;
  p.supply = {kind, 48.0, 40e-3, 1e9};
  p.dc_link = {1e-3, 5e-3};
  p.machine.flux_linkage_Wb = 1e-3;
  p.step_max_s = 1e-6;
  return p;
}

// Charging from a battery, bridge off: i_s = (V - v_C)/(R_s + ESR), so v_C rises with
// tau = C (R_s + ESR), and the bus stands ESR i_s above it. Derived.
// Tolerance: RK4 at h = 1 us of tau = 45 us: (h/tau)^4/120 * 48 V = 1e-7 V.
TEST(DcLink, ChargesThroughSupplyAndSeriesResistance) {
  plant::Drive drive(linked(plant::SupplyKind::battery));
  drive.start({0.0, 0.0, 20.0});
  const double tau = 1e-3 * 45e-3;
  for (int n = 1; n <= 40; ++n) {
    const double t = n * 5e-6;
    advance_to(drive, ps(t));
    const double gap = 28.0 * std::exp(-t / tau);
    const plant::Snapshot s = drive.snapshot();
    EXPECT_NEAR(drive.state().v_cap_V, 48.0 - gap, 1.4e-6);
    EXPECT_NEAR(s.supply_A, gap / 45e-3, 4e-5);
    EXPECT_NEAR(s.bus_V, 48.0 - gap + 5e-3 * gap / 45e-3, 1.4e-6);
  }
}

// Both switches of leg U on: 2 R_on across the bus. With the supply behind a large R_s the link
// discharges towards V 2 R_on/(R_s + 2 R_on) with
//   tau = C (ESR + 2 R_on R_s/(2 R_on + R_s)), for R_s >> R_on: C (ESR + 2 R_on). Derived.
// Tolerance: RK4 at h = 0.5 us of tau = 13 us: (h/tau)^4/120 * 48 V * 1/e = 3.2e-7 V.
TEST(DcLink, DischargesThroughAShortedLeg) {
  plant::DriveParameters p = linked(plant::SupplyKind::battery);
  p.supply.resistance_ohm = 1e3;
  p.step_max_s = 0.5e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::UL, true);
  ASSERT_TRUE(drive.snapshot().shoot_through);
  const double two_on = 2.0 * p.bridge.switch_on_resistance_ohm;
  const double parallel = two_on * 1e3 / (two_on + 1e3), end_V = 48.0 * two_on / (two_on + 1e3);
  const double tau = 1e-3 * (5e-3 + parallel);
  EXPECT_NEAR(tau, 1e-3 * (5e-3 + two_on), 1e-10);
  for (int n = 1; n <= 40; ++n) {
    const double t = n * 1e-6;
    advance_to(drive, ps(t));
    const double v = end_V + (48.0 - end_V) * std::exp(-t / tau);
    EXPECT_NEAR(drive.state().v_cap_V, v, 4e-7);
    EXPECT_NEAR(drive.snapshot().bridge_A * two_on, drive.snapshot().bus_V, 1e-9);
  }
}

// The same at the default largest step of 10 us, with a link of 1.8 us: the plant says that it
// shortens its steps where time constants ask for it. Same residual as above: 4e-6 V of 48 V.
TEST(DcLink, ShortensItsStepsForAShortedLeg) {
  plant::DriveParameters p = linked(plant::SupplyKind::battery);
  p.supply.resistance_ohm = 1e3;
  p.dc_link = {200e-6, 1e-3};
  p.step_max_s = 10e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::UL, true);
  const double two_on = 2.0 * p.bridge.switch_on_resistance_ohm;
  const double parallel = two_on * 1e3 / (two_on + 1e3), end_V = 48.0 * two_on / (two_on + 1e3);
  const double tau = 200e-6 * (1e-3 + parallel);
  double worst_V = 0.0;
  for (int n = 1; n <= 4; ++n) {
    const double t = n * tau;
    advance_to(drive, ps(t));
    const double v = end_V + (48.0 - end_V) * std::exp(-seconds(drive.state()) / tau);
    worst_V = std::max(worst_V, std::abs(drive.state().v_cap_V - v));
  }
  EXPECT_LT(worst_V, 4e-6);
}

/// Steady current through U against V and W in parallel, rotor locked.
plant::Snapshot locked_load(const plant::DriveParameters& p) {
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 0.15);
  return drive.snapshot();
}

// Battery sag by Ohm's law: load 1.5 (R + R_on), i = V/(R_s + load). Tolerance: 150 ms are 50 time
// constants L/R.
TEST(Supply, BatterySagsByItsResistance) {
  plant::DriveParameters p = linked(plant::SupplyKind::battery);
  p.step_max_s = 5e-6;
  const double load = 1.5 * (p.machine.winding_resistance_ohm + 4e-3);
  const plant::Snapshot s = locked_load(p);
  EXPECT_NEAR(s.supply_A / (48.0 / (40e-3 + load)), 1.0, 1e-11);
  EXPECT_NEAR(s.bus_V / (48.0 * load / (40e-3 + load)), 1.0, 1e-11);
}

// A bench supply below the current the load asks for gives its limit, and the bus is limit * load.
TEST(Supply, BenchSupplyHoldsItsCurrentLimit) {
  plant::DriveParameters p = linked(plant::SupplyKind::bench_supply);
  p.supply.current_limit_A = 10.0;
  p.step_max_s = 5e-6;
  const double load = 1.5 * (p.machine.winding_resistance_ohm + 4e-3);
  const plant::Snapshot s = locked_load(p);
  EXPECT_NEAR(s.supply_A, 10.0, 1e-12);
  // Link and load are a damped oscillator here (C, 1.5 L, 1.5 R): decay rate R/(2L) = 180 /s, 27
  // e-folds in 150 ms leave 2e-12.
  EXPECT_NEAR(s.bus_V, 10.0 * load, 1e-9);
}

// No sink: the energy 1/2 * 1.5 L i^2 of a decaying current ends in the link, whose voltage rises
// by 1/2 C (v^2 - v_0^2). Resistances and knee are made negligible. A battery swallows it instead.
// Tolerance: the losses left, 2e-6 ohm over the 0.3 ms of the decay: below 1e-5 of the energy.
TEST(Supply, BenchSupplyCannotSinkSoReturnedEnergyRaisesTheBus) {
  for (const auto kind : {plant::SupplyKind::bench_supply, plant::SupplyKind::battery}) {
    plant::DriveParameters p = linked(kind);
    p.dc_link = {500e-6, 0.0};
    p.machine.winding_resistance_ohm = 1e-6;
    p.bridge = {1e-6, 0.0, 1e-6};
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    const double i = 60.0;
    place(drive, 0.0, {i, 0.0});
    only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
    only_on(drive, {});
    advance_by(drive, 5e-3);
    EXPECT_EQ(drive.snapshot().current_A.U, 0.0);
    const double v = drive.state().v_cap_V, energy = 0.75 * p.machine.inductance_d_H * i * i;
    if (kind == plant::SupplyKind::bench_supply) {
      EXPECT_NEAR(0.5 * 500e-6 * (v * v - 48.0 * 48.0) / energy, 1.0, 1e-5);
      EXPECT_EQ(drive.snapshot().supply_A, 0.0);
    } else {
      EXPECT_NEAR(v, 48.0, 1e-6);
    }
  }
}

struct LinkCurrent {
  double mean_A, ripple_rms_A;
};

/// Sine-triangle PWM of depth m into an R-L star that already carries its steady sine currents.
LinkCurrent pwm_link_current(double m, double phi, double peak_A, double carrier_Hz) {
  const double f = 50.0, w = plant::two_pi * f;
  plant::DriveParameters p = stiff_drive();
  const double impedance = m * 24.0 / peak_A;
  p.machine.winding_resistance_ohm = impedance * std::cos(phi) - p.bridge.switch_on_resistance_ohm;
  p.machine.inductance_d_H = p.machine.inductance_q_H = impedance * std::sin(phi) / w;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {peak_A * std::cos(-phi), peak_A * std::sin(-phi)});
  const auto reference = [&](double t) {
    return std::array<double, 3>{m * std::cos(w * t), m * std::cos(w * t - plant::two_pi / 3.0),
                                 m * std::cos(w * t + plant::two_pi / 3.0)};
  };
  const int periods = static_cast<int>(std::lround(carrier_Hz / f));
  const auto edges = natural_pwm_edges({reference, carrier_Hz, 0.0}, periods);
  Integrals sums(drive, 2, [](double, const plant::Snapshot& s, double* out) {
    out[0] = s.bridge_A;
    out[1] = s.bridge_A * s.bridge_A;
  });
  replay(drive, edges, 0, ps(1.0 / f), &sums);
  return {sums.mean(0), std::sqrt(sums.mean(1) - sums.mean(0) * sums.mean(0))};
}

// Source: Kolar & Round, Analytical calculation of the RMS current stress on the DC-link capacitor
// of voltage-PWM converter systems, IEE Proc. Electr. Power Appl. 153(4), 2006 (formula from
// memory):  I_C,rms = I_rms sqrt(2 M (sqrt(3)/(4 pi) + cos^2 phi (sqrt(3)/pi - 9 M/16))),
// sine currents, carrier far above the fundamental, M = peak phase voltage over V_dc/2.
// Tolerance: the current ripple r = |Z|/(4 M L f_c) of the peak adds r^2/3 to the square; at
// 400 kHz and these angles (|Z|/L below 660 /s, M from 0.4) r is 1e-3: 3.5e-7.
TEST(DcLink, CapacitorRmsCurrentIsKolarAndRounds) {
  for (const double m : {0.4, 0.8, 1.0})
    for (const double phi : {0.5, 1.0}) {
      const double peak = 20.0, c = std::cos(phi);
      const double expected = peak / std::sqrt(2.0) *
                              std::sqrt(2.0 * m *
                                        (plant::sqrt3 / (4.0 * plant::pi) +
                                         c * c * (plant::sqrt3 / plant::pi - 9.0 * m / 16.0)));
      const LinkCurrent i = pwm_link_current(m, phi, peak, 400e3);
      EXPECT_NEAR(i.ripple_rms_A / expected, 1.0, 2.4e-6) << "M " << m << ", phi " << phi;
    }
}

// Power balance per carrier period: I_dc V_dc = 3/2 (M V_dc/2) I cos phi. Textbook, from memory.
TEST(DcLink, MeanCurrentIsThreeQuartersOfDepthTimesActiveCurrent) {
  for (const double m : {0.4, 0.8, 1.0}) {
    const LinkCurrent i = pwm_link_current(m, 0.5, 20.0, 400e3);
    EXPECT_NEAR(i.mean_A / (0.75 * m * 20.0 * std::cos(0.5)), 1.0, 3e-6) << "M " << m;
  }
}

// A supply that parts while current flows into a locked machine: the winding empties the link and
// would swing it below zero, but there each leg's diode in series with the switch that is on beside
// it holds it. By hand, U against V and W, all legs with a switch on: the diodes carry what the
// winding takes, v = -V_f - i (R_d + R_on) / 3, so i decays towards -V_f / r with L / r,
//   L = 1.5 L_d,  r = 1.5 (R + R_on) + (R_d + R_on) / 3.
// Tolerance: the link's own current there, C (R_d + R_on) / 3 di/dt, takes 2e-6 of it.
TEST(DcLink, EmptiedItIsHeldByTheDiodesBesideTheSwitches) {
  plant::DriveParameters p;
  p.dc_link = {200e-6, 5e-3};
  plant::Drive drive(p);
  drive.keep_ledger(true);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 0.3e-3);
  const auto balance_J = [&] { return drive.stored_J() + drive.state().dissipated_J; };
  drive.set_supply_interrupted(true);
  const double before_J = balance_J();
  double least_V = 0.0;
  for (int k = 0; k < 100; ++k) {
    advance_by(drive, 2e-6);
    least_V = std::min(least_V, drive.snapshot().bus_V);
  }
  ASSERT_TRUE(drive.state().link_held);
  const double begin_A = drive.snapshot().current_A.U;
  advance_by(drive, 1.5e-3);
  const double ron = p.bridge.switch_on_resistance_ohm, vf = p.bridge.diode_voltage_V,
               held_ohm = (p.bridge.diode_resistance_ohm + ron) / 3.0;
  const double ohm = 1.5 * (p.machine.winding_resistance_ohm + ron) + held_ohm;
  const double end_A =
      -vf / ohm + (begin_A + vf / ohm) * std::exp(-1.5e-3 * ohm / (1.5 * p.machine.inductance_d_H));
  const plant::Snapshot now = drive.snapshot();
  EXPECT_GT(begin_A, 50.0);
  EXPECT_NEAR(now.current_A.U, end_A, 1e-5 * begin_A);
  EXPECT_NEAR(now.bus_V, -vf - now.current_A.U * held_ohm, 1e-4);
  EXPECT_NEAR(least_V, -vf - begin_A * held_ohm, 0.05);
  EXPECT_NEAR(now.bridge_A, 0.0, 0.05);  // what the winding takes the diodes give
  EXPECT_NEAR(balance_J(), before_J, 1e-7 * before_J);
  advance_by(drive, 20e-3);  // the current has ended, and the link takes what is left
  EXPECT_FALSE(drive.state().link_held);
  drive.set_supply_interrupted(false);
  advance_by(drive, 1e-3);
  EXPECT_GT(drive.snapshot().bus_V, 40.0);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

// Switches that conduct one way only leave both diodes of each leg: v = -2 V_f - i 2 R_d / 3.
TEST(DcLink, EmptiedItIsHeldByBothDiodesBesideIgbts) {
  plant::DriveParameters p;
  p.dc_link = {200e-6, 5e-3};
  p.bridge.switch_kind = plant::SwitchKind::igbt;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 0.3e-3);
  drive.set_supply_interrupted(true);
  advance_by(drive, 0.5e-3);
  const plant::Snapshot now = drive.snapshot();
  EXPECT_GT(now.current_A.U, 20.0);
  EXPECT_NEAR(
      now.bus_V,
      -2.0 * p.bridge.diode_voltage_V - now.current_A.U * 2.0 * p.bridge.diode_resistance_ohm / 3.0,
      1e-4);
}

// A source below zero, as of a cable that rings or of a ripple larger than its voltage, and a rotor
// at rest with its bridge off: the bus is held by both diodes of each leg, between which its
// terminal stands, and nothing else happens. By hand -10 V behind 40 mohm against 2 * 0.8 V and
// 2 * 4 mohm / 3.
TEST(DcLink, ASourceBelowZeroIsHeldByBothDiodesOfLegsThatRest) {
  plant::DriveParameters p = linked(plant::SupplyKind::battery);
  p.bridge.diode_voltage_V = 0.8;
  p.bridge.diode_resistance_ohm = 4e-3;
  plant::Drive drive(p);
  drive.start();
  drive.set_supply_V({-10.0, 0.0});
  advance_by(drive, 2e-3);
  const double held_ohm = 2.0 * 4e-3 / 3.0, supply_A = (10.0 - 1.6) / (40e-3 + held_ohm);
  EXPECT_TRUE(drive.state().link_held);
  EXPECT_NEAR(drive.snapshot().bus_V, -1.6 - supply_A * held_ohm, 1e-9);
  EXPECT_EQ(drive.snapshot().current_A.U, 0.0);
  EXPECT_EQ(drive.health().forced_steps, 0U);
  EXPECT_EQ(drive.health().inconsistent_modes, 0U);
}

// A winding of next to no inductance on a link of much resistance: U against V and W,
//   i = V / r (1 - exp(-r t / (1.5 L))),  r = 1.5 (R + R_on) + ESR R_s / (ESR + R_s),
// 37 us of which without the link's resistance there would be 2 ms. Derived. Steps of a quarter:
// (1/4)^4/120 of the transient.
TEST(DcLink, ItsResistanceQuickensTheWindingsAndTheirSteps) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_d_H = p.machine.inductance_q_H = 5e-6;
  p.machine.winding_resistance_ohm = 1e-3;
  p.bridge.switch_on_resistance_ohm = p.bridge.diode_resistance_ohm = 1e-3;
  p.dc_link.series_resistance_ohm = 0.2;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  const double r_s = p.supply.resistance_ohm;
  const double r = 1.5 * 2e-3 + 0.2 * r_s / (0.2 + r_s);
  for (const double t : {20e-6, 50e-6, 100e-6, 150e-6}) {
    advance_to(drive, ps(t));
    const double end_A = p.supply.voltage_V / r;
    EXPECT_NEAR(drive.snapshot().current_A.U, end_A * (1.0 - std::exp(-r * t / 7.5e-6)),
                4e-5 * end_A)
        << t;
  }
}

}  // namespace
}  // namespace stillrotor::reference
