// Bridge legs: which way a leg conducts, and what its terminal then is.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;

DriveParameters simple_drive() {
  DriveParameters d;
  d.supply = {SupplyKind::battery, 48.0, 10e-3, 1e9};
  d.dc_link = {2e-3, 2e-3};
  d.shaft.inertia_kg_m2 = 1e3;  // does not move
  return d;
}

TEST(Conduction, CurrentFlowsOutOfTheHighSwitchAndBackThroughTheLowOne) {
  Drive drive(simple_drive());
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(10 * us);
  const Snapshot s = drive.snapshot();
  EXPECT_GT(s.current_A.U, 1.0);
  EXPECT_NEAR(s.current_A.V, -s.current_A.U, 1e-12);
  EXPECT_NEAR(s.current_A.W, 0.0, 1e-12);
  // Terminal U: bus less the switch's drop; terminal V: the switch's drop above the rail.
  EXPECT_NEAR(s.terminal_V.U, s.bus_V - 4e-3 * s.current_A.U, 1e-9);
  EXPECT_NEAR(s.terminal_V.V, 4e-3 * s.current_A.U, 1e-9);
  // Standing machine, equal inductances: the floating terminal sits in the middle of the other two.
  EXPECT_NEAR(s.terminal_V.W, 0.5 * (s.terminal_V.U + s.terminal_V.V), 1e-9);
}

TEST(Conduction, CurrentFreewheelsThroughTheDiodeOfItsSignWhenTheSwitchOpens) {
  Drive drive(simple_drive());
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(50 * us);
  drive.set_switch(Switch::UH, false);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
  EXPECT_NEAR(drive.snapshot().terminal_V.U, -0.8 - 3e-3 * drive.snapshot().current_A.U, 1e-9);
  drive.set_switch(Switch::VL, false);
  EXPECT_EQ(drive.state().leg[1], Conduction::high_diode);
}

TEST(Conduction, FreewheelingEndsAtExactlyZeroAndStaysThere) {
  Drive drive(simple_drive());
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(50 * us);
  drive.set_switch(Switch::UH, false);
  drive.set_switch(Switch::VL, false);
  drive.advance(1000 * us);
  EXPECT_EQ(drive.state().leg[0], Conduction::floating);
  EXPECT_EQ(drive.state().leg[1], Conduction::floating);
  EXPECT_NEAR(std::hypot(drive.state().i_alpha_A, drive.state().i_beta_A), 0.0, 1e-12);
}

TEST(Conduction, BothSwitchesOfALegShortTheBusAndAreReported) {
  Drive drive(simple_drive());
  EXPECT_FALSE(drive.snapshot().shoot_through);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::UL, true);
  EXPECT_TRUE(drive.snapshot().shoot_through);
  // 2 Ron = 8 mohm across a 48 V source of 10 mohm beside a link of 2 mohm: hundreds of amperes.
  EXPECT_GT(drive.snapshot().bridge_A, 1000.0);
}

TEST(Conduction, ADrivenMachineBelowTheBusVoltageDrawsNothingWithAllGatesOff) {
  Drive drive(simple_drive());
  StartState spinning;
  spinning.omega_m_rad_s = 500.0;  // line-to-line peak sqrt3 * 4 * 500 * 0.012 = 41.6 V < 49.6 V
  drive.start(spinning);
  drive.advance(20'000 * us);
  EXPECT_EQ(drive.state().i_alpha_A, 0.0);
  EXPECT_EQ(drive.state().i_beta_A, 0.0);
}

// 2,000 random machines, speeds and gate sequences: whatever the gates do, some conduction mode
// fits, time goes on, and numbers stay numbers.
TEST(Conduction, EveryRandomGateSequenceFindsAConsistentMode) {
  for (unsigned seed = 0; seed < 2000; ++seed) {
    std::mt19937 rng(seed);
    const auto uniform = [&](double a, double b) {
      return std::uniform_real_distribution<>(a, b)(rng);
    };
    DriveParameters d = simple_drive();
    d.machine.inductance_d_H = uniform(20e-6, 500e-6);
    d.machine.inductance_q_H = d.machine.inductance_d_H * uniform(0.7, 2.5);
    d.machine.winding_resistance_ohm = uniform(0.01, 0.3);
    if (seed % 2) d.machine.back_emf = trapezoid_harmonics(120.0, 31);
    if (seed % 4 == 1) d.bridge.switch_kind = SwitchKind::igbt;
    d.bridge.switch_knee_V = seed % 8 == 1 ? 0.0 : uniform(0.1, 2.0);
    // A third of the MOSFETs share with their diodes from tens of amperes on, some from 0 A.
    if (seed % 3 == 1) d.bridge.diode_voltage_V = seed % 9 == 1 ? 0.0 : uniform(0.02, 0.3);
    if (seed % 5 > 2) d.bridge.output_capacitance_F = uniform(0.1e-9, 20e-9);
    if (seed % 7 > 4) d.bridge.switching = {50e-6, 80e-6, 20e-6, 48.0, 20.0};
    if (seed % 3 == 0) d.supply = {SupplyKind::bench_supply, 48.0, 20e-3, uniform(2.0, 20.0)};
    d.shaft.inertia_kg_m2 = uniform(1e-3, 1e-1);
    d.shaft.coulomb_friction_Nm = seed % 5 ? uniform(0.0, 0.5) : 0.0;
    d.hall.fitted = seed % 2;
    d.encoder.fitted = seed % 7 == 0;
    Drive drive(d);
    StartState start;
    start.omega_m_rad_s = uniform(-900.0, 900.0);
    start.theta_m_rad = uniform(0.0, 6.28);
    drive.start(start);
    std::int64_t t = 0;
    for (int edge = 0; edge < 120; ++edge) {
      t += static_cast<std::int64_t>(uniform(0.0, edge % 10 ? 15e6 : 200e6));
      while (drive.advance(t).edge) {
      }
      const auto which = static_cast<Switch>(rng() % 6);
      // Mostly proper gating; one change in thirty may short a leg.
      const auto partner = static_cast<Switch>(static_cast<int>(which) ^ 1);
      const bool on = rng() % 2;
      if (on && rng() % 30) drive.set_switch(partner, false);
      drive.set_switch(which, on);
      if (seed % 11 == 0 && edge == 60) drive.set_phase_open(static_cast<Leg>(rng() % 3), true);
    }
    const DriveState& s = drive.state();
    ASSERT_EQ(s.time_ps, t) << "seed " << seed;
    ASSERT_TRUE(std::isfinite(s.i_alpha_A + s.i_beta_A + s.v_cap_V + s.omega_m_rad_s))
        << "seed " << seed;
    ASSERT_LT(std::hypot(s.i_alpha_A, s.i_beta_A), 1e5) << "seed " << seed;
    ASSERT_EQ(drive.health().inconsistent_modes, 0U) << "seed " << seed;
    ASSERT_EQ(drive.health().forced_steps, 0U) << "seed " << seed;
  }
}

}  // namespace
}  // namespace stillrotor::plant
