// Legs of every kind: what carries the current, and when it changes over.
#include <gtest/gtest.h>

#include <cmath>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t ns = 1'000, us = 1'000'000;

/// 48 V that does not move, a rotor that does not turn, 5 A within some tens of microseconds.
DriveParameters still_drive() {
  DriveParameters d;
  d.supply = {SupplyKind::battery, 48.0, 1e-3, 1e9};
  d.dc_link = {1.0, 0.0};
  d.shaft.inertia_kg_m2 = 1e6;
  return d;
}

DriveParameters igbt_drive() {
  DriveParameters d = still_drive();
  d.bridge.switch_kind = SwitchKind::igbt;
  d.bridge.switch_knee_V = 1.1;
  d.bridge.switch_on_resistance_ohm = 12e-3;
  return d;
}

TEST(BridgeLegs, AnIgbtCarriesForwardCurrentAboveItsKneeAndItsDiodeTheRest) {
  Drive drive(igbt_drive());
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(50 * us);
  const Snapshot s = drive.snapshot();
  ASSERT_GT(s.current_A.U, 5.0);
  EXPECT_EQ(drive.state().leg[0], Conduction::high_switch);
  EXPECT_NEAR(s.terminal_V.U, s.bus_V - 1.1 - 12e-3 * s.current_A.U, 1e-9);
  EXPECT_NEAR(s.terminal_V.V, 1.1 + 12e-3 * s.current_A.U, 1e-9);
  // The low switch of U is asked for, but its current flows the other way: the diode's.
  drive.set_switch(Switch::UH, false);
  drive.set_switch(Switch::UL, true);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
  drive.advance(51 * us);
  EXPECT_NEAR(drive.snapshot().terminal_V.U, -0.8 - 3e-3 * drive.snapshot().current_A.U, 1e-9);
}

// With all low switches on a MOSFET bridge lets the current circulate for ever either way; an IGBT
// leg lets it end at zero and float there.
TEST(BridgeLegs, CurrentInAGatedIgbtLegEndsAtZeroAndTheTerminalFloats) {
  Drive drive(igbt_drive());
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(20 * us);
  drive.set_switch(Switch::UH, false);
  drive.set_switch(Switch::UL, true);
  drive.advance(20'000 * us);
  EXPECT_EQ(drive.state().leg[0], Conduction::floating);
  EXPECT_EQ(drive.state().leg[1], Conduction::floating);
  EXPECT_NEAR(std::hypot(drive.state().i_alpha_A, drive.state().i_beta_A), 0.0, 1e-12);
  // It begins again in the same gates as soon as something pulls: U high against V low.
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::UH, true);
  drive.advance(20'010 * us);
  EXPECT_GT(drive.snapshot().current_A.U, 0.5);
}

// All low switches on, a machine that turns: its EMF has to overcome one diode and one IGBT knee,
// 0.8 + 1.1 = 1.9 V between two terminals, before any current flows. Line-to-line peak
// sqrt 3 * p omega psi = sqrt 3 * 4 * 12e-3 * omega: 1.9 V at 22.85 rad/s.
TEST(BridgeLegs, AShortedIgbtBridgeBrakesOnlyAboveItsKnees) {
  for (const double omega : {22.5, 23.2}) {
    Drive drive(igbt_drive());
    StartState start;
    start.omega_m_rad_s = omega;
    drive.start(start);
    for (const Switch low : {Switch::UL, Switch::VL, Switch::WL}) drive.set_switch(low, true);
    double peak = 0.0;
    for (int k = 1; k < 4000; ++k) {
      drive.advance(k * 20 * us);
      peak = std::max(peak, std::hypot(drive.state().i_alpha_A, drive.state().i_beta_A));
    }
    EXPECT_EQ(peak > 0.0, omega > 22.85) << omega << " rad/s: " << peak << " A";
    EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  }
}

TEST(BridgeLegs, ADiodeJoinsTheChannelBeyondItsKneeAndLeavesAgain) {
  DriveParameters d = still_drive();
  d.bridge.switch_on_resistance_ohm = 20e-3;  // 0.8 V at 40 A
  Drive drive(d);
  drive.set_switch(Switch::UL, true);
  drive.set_switch(Switch::VH, true);
  drive.set_switch(Switch::WH, true);
  drive.advance(600 * us);
  ASSERT_LT(drive.snapshot().current_A.U, -60.0);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_switch);  // forward: the channel alone
  EXPECT_EQ(drive.state().leg[1], Conduction::high_switch);
  // The other rail: the currents go on, now in reverse through U high.
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::UH, true);
  EXPECT_EQ(drive.state().leg[0], Conduction::high_shared);
  double last_shared_A = 0.0;
  for (int n = 0; n < 3000 && drive.state().leg[0] == Conduction::high_shared; ++n) {
    last_shared_A = -drive.snapshot().current_A.U;
    drive.advance(drive.state().time_ps + us);
  }
  EXPECT_NEAR(last_shared_A, 40.0, 0.6);  // leaves at 0.8 V / 20 mohm
  EXPECT_EQ(drive.state().leg[0], Conduction::high_switch);
}

TEST(BridgeLegs, ALegWithCapacitanceSwingsInTheDeadTimeUntilItsDiodeTakesOver) {
  DriveParameters d = still_drive();
  d.bridge.output_capacitance_F = 1.5e-9;
  Drive drive(d);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(10 * us);
  const double current = drive.snapshot().current_A.U;
  ASSERT_GT(current, 1.0);
  drive.set_switch(Switch::UH, false);
  EXPECT_EQ(drive.state().leg[0], Conduction::swinging_down);
  EXPECT_NEAR(drive.snapshot().terminal_V.U, drive.snapshot().bus_V - 4e-3 * current, 1e-9);
  drive.advance(drive.state().time_ps + 10 * ns);
  EXPECT_EQ(drive.state().leg[0], Conduction::swinging_down);
  // About i t / (2 C_oss) lower.
  EXPECT_NEAR(drive.snapshot().terminal_V.U, 48.0 - current * 10e-9 / 3e-9, 0.1);
  drive.advance(drive.state().time_ps + 200 * ns);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
  // From the low diode to the low switch there is nothing to swing.
  drive.set_switch(Switch::UL, true);
  drive.set_switch(Switch::UL, false);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
}

TEST(BridgeLegs, ASwingThatItsCurrentCannotFinishFloats) {
  DriveParameters d = still_drive();
  d.bridge.output_capacitance_F = 100e-9;
  Drive drive(d);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(2 * us);  // 0.3 A in 300 uH against 200 nF: good for 12 V of 48 V
  drive.set_switch(Switch::VL, false);
  drive.set_switch(Switch::VH, true);
  drive.set_switch(Switch::UH, false);
  EXPECT_EQ(drive.state().leg[0], Conduction::swinging_down);
  drive.advance(drive.state().time_ps + 100 * us);
  EXPECT_EQ(drive.state().leg[0], Conduction::floating);
  EXPECT_NEAR(drive.snapshot().current_A.U, 0.0, 1e-12);
}

}  // namespace
}  // namespace stillrotor::plant
