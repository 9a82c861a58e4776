// Faults of gates and switches against hand calculations and closed forms.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::Leg;

constexpr double volts = 48.0, on_ohm = 4e-3;  // of stiff_drive()

// Its gate on, 10 A out of the leg: the low diode carries them, v = -(0.8 V + 3 mohm * 10 A).
// Nothing flows where it had to begin. Whole again, the terminal stands at 48 V - 4 mohm * 10 A.
TEST(SwitchOpen, LeavesItsDiode) {
  const plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_switch_open(Switch::UH, true);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 1e-3);
  EXPECT_EQ(drive.snapshot().current_A.U, 0.0);
  EXPECT_EQ(drive.state().asked, drive.state().gates | 1U);

  place(drive, 0.0, {10.0, 0.0});
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  EXPECT_NEAR(drive.snapshot().terminal_V.U, -0.83, 1e-12);
  drive.set_switch_open(Switch::UH, false);
  EXPECT_NEAR(drive.snapshot().terminal_V.U, volts - 0.04, 1e-12);

  // Its diode carries current into the leg: 48 V + 0.8 V + 3 mohm * 10 A.
  drive.set_switch_open(Switch::UH, true);
  place(drive, 0.0, {-10.0, 0.0});
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  EXPECT_NEAR(drive.snapshot().terminal_V.U, volts + 0.83, 1e-12);
}

// No gate of its leg on: V/R' (1 - exp(-t R'/L')) through V's low switch, R' = 2 (R + R_on).
// Then its partner turns on: 48 V over 2 * 4 mohm are 6 kA; the driver's trip takes the partner
// away 1.5 us later, not the shorted one. Heat until then V^2 / (2 R_on) * 1.5 us = 0.432 J,
// beside it the machine's some 10 A through milliohms: below 1e-5 of it.
TEST(SwitchShort, FeedsByItselfAndTripsTheDriverWithItsPartner) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.trip_A = 500.0;
  p.gate_driver.trip_delay_s = 1.5e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_switch_shorted(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  const double r = 2.0 * (p.machine.winding_resistance_ohm + on_ohm);
  const double l = 2.0 * p.machine.inductance_d_H, t = 100e-6;
  advance_to(drive, ps(t));
  EXPECT_NEAR(drive.snapshot().current_A.U, volts / r * (1.0 - std::exp(-t * r / l)), 1e-8);

  drive.keep_ledger(true);
  drive.set_switch(Switch::UL, true);
  EXPECT_NEAR(drive.snapshot().bridge_A, volts / (2.0 * on_ohm), 0.01 * volts / (2.0 * on_ohm));
  EXPECT_LE(drive.quiet_until(ps(1.0)), ps(t + 1.5e-6));
  const plant::Drive::Stop stop = drive.advance(ps(1e-3));
  ASSERT_TRUE(stop.edge);
  EXPECT_EQ(stop.what.line, plant::SensorLine::driver_fault);
  EXPECT_EQ(drive.state().time_ps, ps(t + 1.5e-6));
  EXPECT_EQ(drive.state().gates, 1);
  const double burnt_J = volts * volts / (2.0 * on_ohm) * 1.5e-6;
  EXPECT_NEAR(drive.state().dissipated_J / burnt_J, 1.0, 2e-3);
}

// A link of 1 mF and 5 mohm alone, shorted by one leg: v_C = 48 V exp(-t / (C (2 R_on + ESR))),
// exact to the picosecond in time. What the capacitor lost is heat.
// Tolerance: the bus law's sixteenth of a time constant, (1/16)^5 / 120 a step.
TEST(ShootThrough, EmptiesTheLinkForItsTime) {
  plant::DriveParameters p;
  p.dc_link = {1e-3, 5e-3};
  plant::Drive drive(p);
  drive.start();
  drive.keep_ledger(true);
  drive.set_supply_interrupted(true);
  const plant::DriveState before = drive.state();
  drive.short_leg(Leg::V, 2e-6);
  EXPECT_EQ(drive.state().gates, 0xC);
  advance_to(drive, ps(2e-6) - 1);
  EXPECT_TRUE(drive.snapshot().shoot_through);
  advance_to(drive, ps(10e-6));
  EXPECT_FALSE(drive.snapshot().shoot_through);
  EXPECT_EQ(drive.state().gates, 0);
  const double left_V = volts * std::exp(-2e-6 / (1e-3 * (2.0 * on_ohm + 5e-3)));
  EXPECT_NEAR(drive.state().v_cap_V, left_V, 1e-7 * volts);
  EXPECT_NEAR(drive.state().dissipated_J, 0.5e-3 * (volts * volts - left_V * left_V), 1e-6);

  // A checkpoint carries the rest of its time; it can be called off; gates asked for come back.
  drive.restore(before);
  drive.set_switch(Switch::VL, true);
  drive.short_leg(Leg::V, 2e-6);
  advance_to(drive, ps(1e-6));
  const plant::DriveState half = drive.state();
  advance_to(drive, ps(3e-6));
  EXPECT_EQ(drive.state().gates, 8);
  drive.restore(half);
  EXPECT_EQ(drive.state().gates, 0xC);
  advance_to(drive, ps(2e-6));
  EXPECT_EQ(drive.state().gates, 8);
  drive.restore(half);
  drive.short_leg(Leg::V, 0.0);
  EXPECT_EQ(drive.state().gates, 8);
}

// Full: 12 V - 0.7 V - 200 uA * 22 ohm = 11.2956 V. A turn-on takes 50 nC / 1 uF = 50 mV, a period
// of 50 us 200 uA / 1 uF * 50 us = 10 mV more. By hand: after n periods a turn-on still finds
// 8 V left while 60 mV n + 50 mV < 3.2956 V, n < 54.09: 55 turn-ons are served, no more.
TEST(BootstrapLost, TheHighSwitchDiesAfterItsCharge) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.bootstrap = {1e-6, 22.0, 0.7, 200e-6, 50e-9, 8.0, 0.5};
  plant::Drive drive(p);
  drive.start();
  drive.set_switch(Switch::UL, true);
  drive.set_switch(Switch::VL, true);
  advance_to(drive, ps(1e-3));
  drive.set_bootstrap_open(Leg::U, true);
  int served = 0;
  for (int n = 0; n < 100; ++n) {
    drive.set_switch(Switch::UL, false);
    drive.set_switch(Switch::UH, true);
    served += drive.state().gates & 1;
    advance_to(drive, ps(1e-3 + n * 50e-6 + 20e-6));
    drive.set_switch(Switch::UH, false);
    drive.set_switch(Switch::UL, true);
    advance_to(drive, ps(1e-3 + (n + 1) * 50e-6));
  }
  EXPECT_EQ(served, 55);
  EXPECT_GT(drive.bootstrap_V(Leg::V), 11.0);  // the other leg's is as it was
  // Mended while the leg is low: back above 8.5 V within a few RC of 22 us.
  drive.set_bootstrap_open(Leg::U, false);
  advance_by(drive, 100e-6);
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::UH, true);
  EXPECT_EQ(drive.state().gates & 1, 1);
}

/// Mean voltage of leg U over a period in the steady state: 20 kHz, dead time 1 us, current out of
/// U (or into it) throughout, one gate skewed, on a bench without gate driver.
double mean_leg_V(bool out, Switch which, double on_s, double off_s) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1e-3;
  p.bridge.diode_resistance_ohm = p.bridge.switch_on_resistance_ohm = 1e-6;
  p.bridge.diode_voltage_V = 0.0;
  p.step_max_s = 2e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_gate_skew(which, on_s, off_s);
  const double period_s = 50e-6;
  std::vector<GateEdge> edges = {{0, out ? Switch::VL : Switch::VH, true},
                                 {0, out ? Switch::WL : Switch::WH, true}};
  const int settle = 600;
  for (int n = 0; n <= settle; ++n) {
    turn_leg(edges, Leg::U, true, ps(n * period_s), ps(1e-6));
    turn_leg(edges, Leg::U, false, ps((n + 0.4) * period_s), ps(1e-6));
  }
  sort_edges(edges);
  const std::size_t next = replay(drive, edges, 0, ps(settle * period_s) - 1);
  advance_to(drive, ps(settle * period_s));
  Integrals sums(
      drive, 1, [](double, const plant::Snapshot& s, double* out_V) { out_V[0] = s.terminal_V.U; });
  replay(drive, edges, next, ps((settle + 1) * period_s), &sums);
  return sums.mean(0);
}

// Current out of the leg: its terminal is high while the high switch is on. Current into it: low
// while the low switch is. The other switch's edges then move nothing.
// By hand: V_dc delta / T = 48 V * 200 ns / 50 us = 192 mV. Tolerance: 1 uohm at some 10 A.
TEST(GateSkew, ShiftsTheMeanLegVoltageByItsShareOfThePeriod) {
  struct Case {
    bool out;
    Switch which;
    double on_s, off_s, shift_V;
  };
  constexpr double delta_s = 200e-9, shift_V = volts * delta_s / 50e-6;
  const double even[2] = {mean_leg_V(false, Switch::UH, 0, 0), mean_leg_V(true, Switch::UH, 0, 0)};
  for (const Case& c :
       {Case{true, Switch::UH, delta_s, 0.0, -shift_V},
        Case{true, Switch::UH, 0.0, delta_s, shift_V},
        Case{true, Switch::UH, delta_s, delta_s, 0.0}, Case{true, Switch::UL, delta_s, 0.0, 0.0},
        Case{false, Switch::UL, delta_s, 0.0, shift_V},
        Case{false, Switch::UL, 0.0, delta_s, -shift_V},
        Case{false, Switch::UH, delta_s, 0.0, 0.0}})
    EXPECT_NEAR(mean_leg_V(c.out, c.which, c.on_s, c.off_s) - even[c.out], c.shift_V, 5e-5)
        << c.out << ' ' << static_cast<int>(c.which) << ' ' << c.on_s << ' ' << c.off_s;
}

// A high switch that goes off 1.2 us late overlaps the low one, 1 us after the command, for 200 ns.
// A driver that trips is not promised to stay quiet beyond the moment the overlap begins.
TEST(GateSkew, BeyondTheDeadTimeShortsTheLeg) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.trip_A = 500.0;
  p.gate_driver.trip_delay_s = 5e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_gate_skew(Switch::UH, 0.0, 1.2e-6);
  drive.set_switch(Switch::UH, true);
  advance_to(drive, ps(10e-6));
  drive.set_switch(Switch::UH, false);
  EXPECT_EQ(drive.quiet_until(ps(100e-6)), ps(100e-6));
  advance_to(drive, ps(11e-6));
  drive.set_switch(Switch::UL, true);
  EXPECT_TRUE(drive.snapshot().shoot_through);
  EXPECT_LE(drive.quiet_until(ps(100e-6)), ps(16e-6));
  advance_to(drive, ps(11.2e-6) - 1);
  EXPECT_TRUE(drive.snapshot().shoot_through);
  advance_to(drive, ps(11.2e-6));
  EXPECT_EQ(drive.state().gates, 2);
  ASSERT_TRUE(drive.advance(ps(100e-6)).edge);
  EXPECT_EQ(drive.state().time_ps, ps(16e-6));  // the trip was on its way

  // The short itself lies ahead, behind the delay of the low switch.
  drive.start();
  drive.set_switch_shorted(Switch::UH, true);
  drive.set_gate_skew(Switch::UL, 2e-6, 0.0);
  drive.set_switch(Switch::UL, true);
  EXPECT_LE(drive.quiet_until(ps(100e-6)), ps(7e-6));
  ASSERT_TRUE(drive.advance(ps(100e-6)).edge);
  EXPECT_EQ(drive.state().time_ps, ps(7e-6));
}

}  // namespace
}  // namespace stillrotor::reference
