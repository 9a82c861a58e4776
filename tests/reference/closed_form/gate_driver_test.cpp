// The gate driver against closed forms: skew in the dead time, bootstrap supplies, trip latency.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::Leg;

/// Mean voltage of leg U over one period in the steady state, 48 V, 20 kHz, dead time 1 us at the
/// controller, current out of U throughout; the high line of U with the given delays.
double mean_leg_V(double on_delay_s, double off_delay_s, double duty = 0.4) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1e-3;
  p.bridge.diode_resistance_ohm = p.bridge.switch_on_resistance_ohm = 1e-6;
  p.bridge.diode_voltage_V = 0.0;
  p.bridge.switch_kind = plant::SwitchKind::mosfet;
  p.gate_driver.on_delay_s[0] = on_delay_s;
  p.gate_driver.off_delay_s[0] = off_delay_s;
  p.step_max_s = 2e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  const double period_s = 50e-6;
  std::vector<GateEdge> edges = {{0, Switch::VL, true}, {0, Switch::WL, true}};
  const int settle = 600;
  for (int n = 0; n <= settle; ++n) {
    turn_leg(edges, Leg::U, true, ps(n * period_s), ps(1e-6));
    turn_leg(edges, Leg::U, false, ps((n + duty) * period_s), ps(1e-6));
  }
  sort_edges(edges);
  const std::size_t next = replay(drive, edges, 0, ps(settle * period_s) - 1);
  advance_to(drive, ps(settle * period_s));
  Integrals sums(drive, 1,
                 [](double, const plant::Snapshot& s, double* out) { out[0] = s.terminal_V.U; });
  replay(drive, edges, next, ps((settle + 1) * period_s), &sums);
  return sums.mean(0);
}

// Current out of the leg: its terminal is high exactly while the high switch is on, so an edge that
// comes late by t moves the mean by t f_s V_dc.
// By hand: 50 ns * 20 kHz * 48 V = 48 mV (common practice: this is what skew costs).
// Tolerance: the switches' 1 uohm at some 4 A.
TEST(GateDriver, FiftyNanosecondsOnOneEdgeAreFortyEightMillivolts) {
  const double even = mean_leg_V(0.0, 0.0);
  EXPECT_NEAR(mean_leg_V(50e-9, 0.0) - even, -0.048, 2e-5);
  EXPECT_NEAR(mean_leg_V(0.0, 50e-9) - even, 0.048, 2e-5);
  EXPECT_NEAR(mean_leg_V(200e-9, 200e-9) - even, 0.0, 2e-5);
}

// The dead time that the power stage sees: 1 us at the controller, the high line late by 300 ns and
// the low line by 100 ns. Low off to high on: 1 us + 300 - 100 = 1.2 us; high off to low on:
// 1 us + 100 - 300 = 0.8 us. Every instant exact to the picosecond.
TEST(GateDriver, ShiftsTheDeadTimeByTheDifferenceOfItsDelays) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.on_delay_s[0] = p.gate_driver.off_delay_s[0] = 300e-9;
  p.gate_driver.on_delay_s[1] = p.gate_driver.off_delay_s[1] = 100e-9;
  plant::Drive drive(p);
  drive.start();
  drive.set_switch(Switch::UL, true);
  advance_to(drive, ps(5e-6));
  drive.set_switch(Switch::UL, false);  // gone at 5.1 us
  advance_to(drive, ps(6e-6));
  drive.set_switch(Switch::UH, true);  // there at 6.3 us
  const auto gates_at = [&](double t) {
    advance_to(drive, ps(t));
    return static_cast<int>(drive.state().gates);
  };
  EXPECT_EQ(gates_at(6.3e-6 - 1e-12), 0);
  EXPECT_EQ(gates_at(6.3e-6), 1);
  drive.set_switch(Switch::UH, false);  // 6.6 us
  advance_to(drive, ps(7.3e-6));
  drive.set_switch(Switch::UL, true);  // 7.4 us
  EXPECT_EQ(gates_at(7.4e-6 - 1e-12), 0);
  EXPECT_EQ(gates_at(7.4e-6), 2);
}

// A pulse of 60 ns, late by 100 ns at its begin and by 30 ns at its end, would end before it
// begins: it vanishes. One of 80 ns leaves 10 ns.
TEST(GateDriver, APulseThatTheDelaysEatVanishes) {
  for (const double width : {60e-9, 80e-9}) {
    plant::DriveParameters p = stiff_drive();
    p.gate_driver.on_delay_s[0] = 100e-9;
    p.gate_driver.off_delay_s[0] = 30e-9;
    plant::Drive drive(p);
    drive.start();
    drive.set_switch(Switch::UH, true);
    advance_to(drive, ps(width));
    drive.set_switch(Switch::UH, false);
    int on_ns = 0;
    for (int ns = 60; ns < 300; ++ns) {
      advance_to(drive, ps(ns * 1e-9));
      on_ns += drive.state().gates != 0;
    }
    EXPECT_EQ(on_ns, width > 70e-9 ? 10 : 0);
  }
}

plant::DriveParameters with_bootstrap() {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.bootstrap = {1e-6, 22.0, 0.7, 200e-6, 50e-9, 8.0, 0.5};
  return p;
}

// First order, from nothing: V(t) = V_end (1 - exp(-t / RC)), V_end = 12 - 0.7 - 200 uA * 22 ohm =
// 11.2956 V, RC = 22 us. 8.5 V (undervoltage and hysteresis) is reached at
// 22 us * ln(11.2956 / 2.7956) = 30.7201 us; before it the high switch does not turn on.
TEST(GateDriver, TheBootstrapChargesWhileTheLegIsLow) {
  plant::Drive drive(with_bootstrap());
  drive.start();
  drive.set_switch(Switch::UL, true);
  const double end_V = 12.0 - 0.7 - 200e-6 * 22.0;
  for (const double t : {5e-6, 22e-6, 30e-6}) {
    advance_to(drive, ps(t));
    EXPECT_NEAR(drive.bootstrap_V(Leg::U), end_V * (1.0 - std::exp(-t / 22e-6)), 1e-9);
    EXPECT_EQ(drive.bootstrap_V(Leg::V), 0.0);
  }
  const double ready_s = 22e-6 * std::log(end_V / (end_V - 8.5));
  EXPECT_NEAR(ready_s, 30.7201e-6, 1e-10);
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::UH, true);
  EXPECT_EQ(drive.state().gates, 0);  // not supplied yet
  drive.set_switch(Switch::UH, false);
  drive.set_switch(Switch::UL, true);
  advance_to(drive, ps(60e-6));
  drive.set_switch(Switch::UL, false);
  const double before_V = drive.bootstrap_V(Leg::U);
  drive.set_switch(Switch::UH, true);
  EXPECT_EQ(drive.state().gates, 1);
  // A turn-on takes 50 nC / 1 uF = 50 mV.
  EXPECT_NEAR(before_V - drive.bootstrap_V(Leg::U), 0.05, 1e-12);
}

// An IGBT that is on and carries nothing floats as far as the machine goes, but it charges.
TEST(GateDriver, AGatedIgbtChargesTheBootstrapWithoutLoadCurrent) {
  plant::DriveParameters p = with_bootstrap();
  p.bridge.switch_kind = plant::SwitchKind::igbt;
  plant::Drive drive(p);
  drive.start();
  drive.set_switch(Switch::UL, true);
  advance_to(drive, ps(22e-6));
  EXPECT_NEAR(drive.bootstrap_V(Leg::U), (12.0 - 0.7 - 4.4e-3) * (1.0 - std::exp(-1.0)), 1e-9);
}

// From the full V_end less 50 mV down to 8 V at I_q / C = 200 V/s: (11.2456 - 8) / 200 = 16.228 ms.
TEST(GateDriver, AHighSwitchHeldOnTooLongLosesItsSupply) {
  plant::Drive drive(with_bootstrap());
  drive.start();
  drive.set_switch(Switch::UL, true);
  advance_to(drive, ps(1e-3));  // 45 time constants
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::UH, true);
  const double lasts_s = (12.0 - 0.7 - 200e-6 * 22.0 - 0.05 - 8.0) / 200.0;
  EXPECT_NEAR(lasts_s, 16.228e-3, 1e-6);
  advance_to(drive, ps(1e-3 + lasts_s - 1e-9));
  EXPECT_EQ(drive.state().gates, 1);
  advance_to(drive, ps(1e-3 + lasts_s + 1e-9));
  EXPECT_EQ(drive.state().gates, 0);
}

// Two phases at standstill: i(t) = V/R' (1 - exp(-t R'/L')), R' = 2 (R + R_on), L' = 2 L. The trip
// comes when 40 A are reached, all off and the fault line 1.5 us later.
TEST(GateDriver, TripsItsDelayAfterTheCurrentReachesTheThreshold) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.trip_A = 40.0;
  p.gate_driver.trip_delay_s = 1.5e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  const double r = 2.0 * (p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm);
  const double l = 2.0 * p.machine.inductance_d_H;
  const double at_s = -l / r * std::log(1.0 - 40.0 * r / 48.0) + 1.5e-6;
  EXPECT_LE(drive.quiet_until(ps(1e-3)), ps(at_s));
  const plant::Drive::Stop stop = drive.advance(ps(1e-3));
  ASSERT_TRUE(stop.edge);
  EXPECT_EQ(stop.what.line, plant::SensorLine::driver_fault);
  EXPECT_TRUE(stop.what.high);
  // The trip lands within 1e-9 A of the threshold: 1e-9 A * L / V = 6e-15 s; the supply's 1 ohm
  // behind 1e9 F does not count. Rounded up to the picosecond.
  EXPECT_NEAR(static_cast<double>(drive.state().time_ps) * 1e-12, at_s, 2e-12);
  EXPECT_EQ(drive.state().gates, 0);
  // Latched until enable goes low and high again.
  advance_to(drive, ps(5e-3));
  EXPECT_EQ(drive.state().gates, 0);
  drive.set_driver_enable(false);
  drive.set_driver_enable(true);
  EXPECT_EQ(drive.state().gates, 1 | 8);
  const plant::Drive::Stop release = drive.advance(ps(5e-3) + 1);
  ASSERT_TRUE(release.edge);
  EXPECT_FALSE(release.what.high);
}

// A leg that shorts the bus: 48 V over 2 * 4 mohm would be 6 kA; off 1.5 us later.
TEST(GateDriver, TripsOnAShortedLeg) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.trip_A = 100.0;
  p.gate_driver.trip_delay_s = 1.5e-6;
  plant::Drive drive(p);
  drive.start();
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::UL, true);
  EXPECT_LE(drive.quiet_until(ps(1e-3)), ps(1.5e-6));
  const plant::Drive::Stop stop = drive.advance(ps(1e-3));
  ASSERT_TRUE(stop.edge);
  EXPECT_EQ(drive.state().time_ps, ps(1.5e-6));
  EXPECT_FALSE(drive.snapshot().shoot_through);
}

TEST(GateDriver, ALowSupplyTurnsAllOffUntilItHasRecoveredAndTheRetryTimeIsOver) {
  plant::DriveParameters p = stiff_drive();
  p.gate_driver.undervoltage_V = 9.0;
  p.gate_driver.retry_after_s = 1e-3;
  plant::Drive drive(p);
  drive.start();
  drive.set_switch(Switch::UL, true);
  drive.set_driver_supply_V(8.9);
  EXPECT_EQ(drive.state().gates, 0);
  ASSERT_TRUE(drive.advance(ps(1e-6)).edge);
  drive.set_driver_enable(false);
  drive.set_driver_enable(true);
  EXPECT_EQ(drive.state().gates, 0);  // the cause is still there
  advance_to(drive, ps(2e-6));
  drive.set_driver_supply_V(9.4);  // below 9 V and the hysteresis of 0.5 V
  advance_to(drive, ps(5e-3));
  EXPECT_EQ(drive.state().gates, 0);
  drive.set_driver_supply_V(12.0);
  EXPECT_EQ(drive.quiet_until(ps(20e-3)), ps(6e-3));
  ASSERT_TRUE(drive.advance(ps(20e-3)).edge);
  EXPECT_EQ(drive.state().time_ps, ps(6e-3));
  EXPECT_EQ(drive.state().gates, 2);
}

}  // namespace
}  // namespace stillrotor::reference
