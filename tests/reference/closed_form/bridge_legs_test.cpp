// Legs of every kind against closed forms: shared conduction, IGBT drops, the swing of a leg in the
// dead time, and the energy that all of it costs.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::Conduction;
using plant::SwitchKind;

// Source: two branches in parallel, by hand. R_on = 10 mohm, V_f = 0.7 V, R_d = 5 mohm, 100 A in
// reverse: x through the channel, 100 - x through the diode, 10e-3 x = 0.7 + 5e-3 (100 - x), so
// x = 1.2 / 15e-3 = 80 A, v = 0.8 V; the diode begins at 0.7 V / 10 mohm = 70 A.
// Tolerance: rounding.
TEST(BridgeLegs, AChannelAndItsDiodeShareReverseCurrent) {
  plant::DriveParameters p = stiff_drive();
  p.bridge.switch_on_resistance_ohm = 10e-3;
  p.bridge.diode_voltage_V = 0.7;
  p.bridge.diode_resistance_ohm = 5e-3;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  for (const auto& [current_A, terminal_V] : {std::pair{100.0, -0.8}, {60.0, -0.6}}) {
    place(drive, 0.0, {current_A, 0.0});  // out of U
    only_on(drive, {});
    only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
    EXPECT_NEAR(drive.snapshot().terminal_V.U, terminal_V, 1e-12);
    EXPECT_NEAR(drive.leg_heat_W(plant::Leg::U), -terminal_V * current_A, 1e-9);
  }
}

// Current freewheels from 100 A through one shared leg and two plain ones: below 70 A the diode has
// left. U to V and W: v_U = 3/2 of the alpha voltage, so with L = 150 uH, R = 50 mohm:
//   L di/dt = -(R + 2/3 r_U + 1/3 R_on) i - 2/3 e_U, two pieces of exponentials.
// Shared: r_U = 10/3 mohm, e_U = 0.7 * 10/15 = 7/15 V; plain: r_U = 10 mohm, e_U = 0.
TEST(BridgeLegs, TheDiodeLeavesWhereItsShareEnds) {
  plant::DriveParameters p = stiff_drive();
  p.bridge = {10e-3, 0.7, 5e-3};
  p.step_max_s = 1e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {100.0, 0.0});
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  const double l = p.machine.inductance_d_H, r = p.machine.winding_resistance_ohm;
  const double shared_r = r + 2.0 / 3.0 * 10e-3 / 3.0 + 10e-3 / 3.0,
               shared_V = 2.0 / 3.0 * 7.0 / 15;
  const double rest_A = -shared_V / shared_r;
  const double leaves_s = l / shared_r * std::log((100.0 - rest_A) / (70.0 - rest_A));
  const double from = seconds(drive.state());
  advance_to(drive, ps(from + leaves_s - 1e-9));
  EXPECT_EQ(drive.state().leg[0], Conduction::low_shared);
  advance_to(drive, ps(from + leaves_s + 1e-9));
  EXPECT_EQ(drive.state().leg[0], Conduction::low_switch);
  advance_to(drive, ps(from + leaves_s + 1e-3));
  EXPECT_NEAR(drive.state().i_alpha_A, 70.0 * std::exp(-1e-3 * (r + 10e-3) / l), 1e-7);
}

// Locked rotor, U high against V low: two knees and two slopes stand in the loop:
//   i = (V_dc - 2 V_k) / R' (1 - exp(-t R'/L')), R' = 2 (R + r), L' = 2 L.
// Afterwards both IGBTs turn off: two diodes against the bus,
//   i = (i_0 + I)(exp(-t R''/L')) - I, I = (V_dc + 2 V_f) / R'', R'' = 2 (R + R_d).
TEST(BridgeLegs, IgbtsAddTheirKneesAndSlopes) {
  plant::DriveParameters p = stiff_drive();
  p.bridge.switch_kind = SwitchKind::igbt;
  p.bridge.switch_knee_V = 1.2;
  p.bridge.switch_on_resistance_ohm = 15e-3;
  p.step_max_s = 2e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  const double r = 2.0 * (p.machine.winding_resistance_ohm + 15e-3), l = 300e-6;
  advance_by(drive, 200e-6);
  const double i_0 = (48.0 - 2.4) / r * (1.0 - std::exp(-200e-6 * r / l));
  EXPECT_NEAR(drive.snapshot().current_A.U, i_0, 1e-8);
  only_on(drive, {});
  const double r_off = 2.0 * (p.machine.winding_resistance_ohm + p.bridge.diode_resistance_ohm);
  const double i_end = (48.0 + 1.6) / r_off;
  advance_by(drive, 50e-6);
  EXPECT_NEAR(drive.snapshot().current_A.U, (i_0 + i_end) * std::exp(-50e-6 * r_off / l) - i_end,
              1e-8);
}

// One of the six states, held until it has settled: two knees and two slopes in the loop from U
// into V and W in parallel, i = (V_dc - 2 V_k) / (3/2 (R + r)).
TEST(BridgeLegs, AnIgbtSixStepStateSettlesAtItsOhmicCurrent) {
  plant::DriveParameters p = stiff_drive();
  p.supply.voltage_V = 12.0;
  p.bridge.switch_kind = SwitchKind::igbt;
  p.bridge.switch_knee_V = 1.2;
  p.bridge.switch_on_resistance_ohm = 15e-3;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 0.1);  // 40 time constants
  EXPECT_NEAR(drive.snapshot().current_A.U, (12.0 - 2.4) / (1.5 * 65e-3), 1e-5);
  EXPECT_NEAR(drive.snapshot().terminal_V.V, 1.2 + 15e-3 * drive.snapshot().current_A.U / 2, 1e-6);
}

plant::DriveParameters swinging(double capacitance_F) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1.0;  // the current does not move
  p.machine.winding_resistance_ohm = 1e-6;
  p.bridge = {1e-6, 0.0, 1e-6};
  p.bridge.diode_voltage_V = 1e-9;
  p.bridge.output_capacitance_F = capacitance_F;
  return p;
}

// A constant current discharges both capacitances: t = 2 C_oss V_dc / i.
// By hand: 3 nF * 48 V / 1 A = 144 ns (C_oss 1.5 nF).
TEST(BridgeLegs, ALegSwingsInTheTimeThatItsCurrentNeeds) {
  plant::Drive drive(swinging(1.5e-9));
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {1.0, 0.0});
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  drive.set_switch(Switch::UH, false);
  const double from = seconds(drive.state());
  advance_to(drive, ps(from + 72e-9));
  EXPECT_NEAR(drive.snapshot().terminal_V.U, 24.0, 1e-4);
  advance_to(drive, ps(from + 143.99e-9));
  EXPECT_EQ(drive.state().leg[0], Conduction::swinging_down);
  advance_to(drive, ps(from + 144.01e-9));
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
}

// The mean terminal voltage of a period: the dead time t_d after high-off begins with a swing of
// t_s = C V / i, worth V t_s / 2 more than an ideal leg gives; before high-on the leg is at the
// diode, no swing. Where t_s > t_d the swing is cut off by the low switch:
// area V t_d - i t_d^2 / (2 C).
// By hand, C = 3 nF, 48 V, 20 kHz, t_d = 300 ns: 1 A: 144 ns * 24 V * 20 kHz = 69.1 mV;
// 0.3 A (480 ns): (48 V * 300 ns - 0.3 * (300 ns)^2 / 6 nF) * 20 kHz = 198 mV.
TEST(BridgeLegs, ASwingingLegGainsVoltageAtLightLoad) {
  for (const auto& [current_A, gain_V] : {std::pair{1.0, 0.06912}, {0.3, 0.198}}) {
    double mean[2] = {};
    for (const bool capacitance : {false, true}) {
      plant::Drive drive(swinging(capacitance ? 1.5e-9 : 0.0));
      drive.start();
      hold_electrical(drive, 0.0);
      place(drive, 0.0, {current_A, 0.0});
      only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
      std::vector<GateEdge> edges;
      const std::int64_t at = drive.state().time_ps;
      turn_leg(edges, plant::Leg::U, false, at + ps(20e-6), ps(300e-9));
      turn_leg(edges, plant::Leg::U, true, at + ps(49.7e-6), ps(300e-9));
      sort_edges(edges);
      Integrals sums(
          drive, 1, [](double, const plant::Snapshot& s, double* out) { out[0] = s.terminal_V.U; });
      replay(drive, edges, 0, at + ps(50e-6), &sums);
      mean[capacitance] = sums.mean(0);
    }
    // The current of 1 H moves by 2 mA of 1 A meanwhile.
    EXPECT_NEAR(mean[1] - mean[0], gain_V, 0.01 * gain_V);
  }
}

/// 1/2 C v^2, the windings' field, and C_oss w^2 of each leg about half the bus.
double stored_J(const plant::Drive& drive) {
  const auto& p = drive.parameters();
  const plant::Dq i = drive.snapshot().current_dq_A;
  const plant::DriveState& s = drive.state();
  double sum = 0.5 * p.dc_link.capacitance_F * s.v_cap_V * s.v_cap_V +
               0.75 * (p.machine.inductance_d_H * i.d * i.d + p.machine.inductance_q_H * i.q * i.q);
  for (const double w : s.extra.leg_swing_V) sum += p.bridge.output_capacitance_F * w * w;
  return sum;
}

// Hard turn-on against a charged leg: by hand C_oss = 1.5 nF, 48 V: 2 C V^2 / 2 = 3.456 uJ become
// heat, drawn from the link. Switching energies of 40, 30 and 20 uJ at 24 V and 10 A are, at 48 V
// and 5 A: 40, 30 and 20 uJ.
TEST(BridgeLegs, EachHardSwitchedEdgeCostsItsEnergyFromTheLink) {
  plant::DriveParameters p = swinging(1.5e-9);
  p.bridge.switching = {40e-6, 30e-6, 20e-6, 24.0, 10.0};
  p.dc_link = {1e-3, 0.0};
  p.supply = {plant::SupplyKind::battery, 48.0, 1e6, 1e9};  // as good as parted
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {5.0, 0.0});
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  const auto burnt = [&] { return drive.state().switching_J[0]; };
  const auto link = [&] { return 0.5 * 1e-3 * drive.state().v_cap_V * drive.state().v_cap_V; };
  double before = burnt();
  drive.set_switch(Switch::UL, false);  // reverse current: its own diode takes it, no loss
  EXPECT_NEAR(burnt() - before, 0.0, 1e-15);
  const double link_before = link();
  drive.set_switch(Switch::UH, true);  // takes 5 A from the low diode
  EXPECT_NEAR(burnt() - before, 40e-6 + 20e-6 + 3.456e-6, 1e-10);
  // The link gave 1.5 nF * 48 V * 48 V for the capacitances (of which half stays in them no longer:
  // C_low is charged, C_high discharged, the sum is as before) and the switching energies.
  EXPECT_NEAR(link_before - link(), 60e-6 + 3.456e-6, 1e-10);
  before = burnt();
  drive.set_switch(Switch::UH, false);         // interrupts 5 A, and the leg swings by itself
  EXPECT_NEAR(burnt() - before, 30e-6, 2e-9);  // the link has sunk by 1.3 mV of 48 V
}

// Nothing flows, V is high and W low: U stands at half of 48 V and has not been charged to there by
// anything that counts, so what turning on its low switch draws burns whole: by hand C_oss = 1.5
// nF, 1.5 nF * 24 V * 48 V = 1.728 uJ. Out of a diode of 10 ohm that 5 A flow through the terminal
// stands at -50.8 V, and turning on takes 1.5 nF * 98.8 V * 48 V = 7.114 uJ.
TEST(BridgeLegs, WhatChangesOfSwitchesBurnIsWhatTheyHaveDrawn) {
  plant::DriveParameters p = swinging(1.5e-9);
  p.bridge.diode_voltage_V = 0.8;
  p.bridge.diode_resistance_ohm = 10.0;
  p.dc_link = {1e-3, 0.0};
  p.supply = {plant::SupplyKind::battery, 48.0, 1e6, 1e9};  // as good as parted
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  const auto turned_on = [&](Switch one, double burnt_J) {
    const double burnt = drive.state().switching_J[0], drawn = drive.state().drawn_J;
    drive.set_switch(one, true);
    EXPECT_NEAR(drive.state().switching_J[0] - burnt, burnt_J, 1e-4 * burnt_J);
    EXPECT_NEAR(drive.state().drawn_J - drawn, burnt_J, 1e-4 * burnt_J);
  };
  drive.set_switch(Switch::UL, false);
  only_on(drive, {Switch::VH, Switch::WL});
  turned_on(Switch::UL, 1.728e-6);

  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  place(drive, 0.0, {5.0, 0.0});
  drive.set_switch(Switch::UL, false);
  turned_on(Switch::UH, 7.114e-6);
}

// Tolerance: 1e-7 of what was supplied, at 2 us steps; see energy_test.cpp for the plain bridge.
TEST(BridgeLegs, EnergyBalancesWithEveryKindOfLeg) {
  for (int kind = 0; kind < 4; ++kind) {
    plant::DriveParameters p;
    p.machine.inductance_q_H = 250e-6;
    p.machine.winding_resistance_ohm = 0.2;
    p.step_max_s = 1e-6;
    if (kind % 2) p.bridge.switch_kind = SwitchKind::igbt;
    if (kind == 0) p.bridge.diode_voltage_V = 0.02;  // shares from 5 A on
    if (kind >= 2) {
      p.bridge.output_capacitance_F = 1.5e-9;
      p.bridge.switching = {40e-6, 30e-6, 20e-6, 48.0, 20.0};
    }
    const double w = plant::two_pi * 100.0;
    plant::Drive drive(p);
    drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
    drive.keep_ledger(true);
    const auto reference = [&](double t) {
      std::array<double, 3> r;
      for (int k = 0; k < 3; ++k)
        r[static_cast<std::size_t>(k)] = 0.6 * std::cos(w * t + 1.8 - k * plant::two_pi / 3.0);
      return r;
    };
    const auto edges = natural_pwm_edges({reference, 16e3, 1e-6}, 320);
    const double before_J = stored_J(drive);
    replay(drive, edges, 0, ps(20e-3));
    const plant::DriveState& s = drive.state();
    const double missing_J =
        s.supplied_J - (stored_J(drive) - before_J) - s.mechanical_J - s.dissipated_J;
    ASSERT_GT(s.supplied_J, 1.0);
    EXPECT_LT(std::abs(missing_J) / s.supplied_J, 1e-7) << kind;
    EXPECT_EQ(s.switching_J[0] + s.switching_J[1] + s.switching_J[2] > 0.01, kind >= 2);
    EXPECT_EQ(drive.health().forced_steps, 0U);
    EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  }
}

}  // namespace
}  // namespace stillrotor::reference
