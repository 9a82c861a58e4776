// Signs, by hand: what an independent program by the same hand could get wrong twice.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;

// Battery + to U, - to V: current enters the machine at U and leaves it at V.
TEST(Signs, CurrentEntersTheMachineWhereTheHighSwitchIsOn) {
  plant::Drive drive(stiff_drive());
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 100e-6);
  const plant::Snapshot s = drive.snapshot();
  EXPECT_GT(s.current_A.U, 1.0);
  EXPECT_LT(s.current_A.V, -1.0);
  EXPECT_NEAR(s.current_A.W, 0.0, 1e-13);
  EXPECT_GT(s.bridge_A, 1.0) << "the link feeds the bridge";
  EXPECT_GT(s.terminal_V.U, s.terminal_V.V);
}

// Park: magnet towards U (theta = 0): current in at U is d. A quarter turn on (theta = 90 deg) the
// magnet has left U behind: the same current is -q.
TEST(Signs, ParkTurnsWithTheMagnet) {
  plant::Drive drive(stiff_drive());
  drive.start();
  place(drive, 0.0, {10.0, 0.0});
  EXPECT_NEAR(drive.snapshot().current_dq_A.d, 10.0, 1e-14);
  EXPECT_NEAR(drive.snapshot().current_dq_A.q, 0.0, 1e-14);
  EXPECT_NEAR(drive.snapshot().current_A.U, 10.0, 1e-14);
  EXPECT_NEAR(drive.snapshot().current_A.V, -5.0, 1e-14);
  place(drive, 0.5 * pi, {10.0, 0.0});
  EXPECT_NEAR(drive.snapshot().current_dq_A.d, 0.0, 1e-14);
  EXPECT_NEAR(drive.snapshot().current_dq_A.q, -10.0, 1e-14);
}

// Faraday: the magnet's flux through U, psi cos theta, falls fastest at theta = 90 deg when turning
// forward, so e_U = d psi_U/dt is at its negative crest there, -omega psi; V follows 120 deg later.
TEST(Signs, BackEmfIsTheRateOfTheMagnetFlux) {
  plant::Drive drive(stiff_drive());
  const double omega_m = 100.0, crest = 400.0 * 12e-3;
  drive.start({omega_m, 0.0, -1.0});
  hold_electrical(drive, 400.0);
  place(drive, 0.5 * pi, {0.0, 0.0});
  EXPECT_NEAR(drive.snapshot().back_emf_V.U, -crest, 1e-13);
  place(drive, 0.5 * pi + plant::two_pi / 3.0, {0.0, 0.0});
  EXPECT_NEAR(drive.snapshot().back_emf_V.V, -crest, 1e-13);
  place(drive, 0.5 * pi + 2.0 * plant::two_pi / 3.0, {0.0, 0.0});
  EXPECT_NEAR(drive.snapshot().back_emf_V.W, -crest, 1e-13);
}

// Magnet on U (theta = 0), current into V and out of W: the field points along +beta, 90 deg ahead
// of the magnet, and pulls it forward. A free rotor must begin to turn forward.
TEST(Signs, FieldAheadOfTheMagnetPullsItForward) {
  plant::Drive drive(stiff_drive());
  drive.start();
  only_on(drive, {Switch::VH, Switch::WL});
  advance_by(drive, 200e-6);
  EXPECT_GT(drive.snapshot().torque_Nm, 0.0);
  EXPECT_GT(drive.state().omega_m_rad_s, 0.0);
  EXPECT_GT(drive.snapshot().current_dq_A.q, 0.0);
}

// Generator: driven above the onset of rectification with all gates off it charges the link:
// current flows out of the bridge into the link (bridge_A < 0), the battery is charged
// (supply_A < 0), and the shaft is braked.
TEST(Signs, DrivenMachineChargesTheBatteryAndBrakes) {
  plant::DriveParameters p;
  for (const double direction : {1.0, -1.0}) {
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, direction * 4000.0);
    advance_by(drive, 5e-3);
    double bridge = 0.0, supply = 0.0, torque = 0.0;
    for (int n = 0; n < 160; ++n) {
      advance_by(drive, 1e-5);
      bridge += drive.snapshot().bridge_A;
      supply += drive.snapshot().supply_A;
      torque += drive.snapshot().torque_Nm;
    }
    EXPECT_LT(bridge, 0.0);
    EXPECT_LT(supply, 0.0);
    EXPECT_LT(torque * direction, 0.0);
  }
}

// Freewheel: current flowing into the machine at U when its gates open continues through the LOW
// diode, so the terminal goes to -V_f; current out of the machine goes through the HIGH diode.
TEST(Signs, FreewheelingCurrentPicksTheDiodeThatLetsItPass) {
  plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 200e-6);
  only_on(drive, {});
  const plant::Snapshot s = drive.snapshot();
  const double i = s.current_A.U, rd = p.bridge.diode_resistance_ohm;
  EXPECT_NEAR(s.terminal_V.U, -0.8 - rd * i, 1e-9);
  EXPECT_NEAR(s.terminal_V.V, s.bus_V + 0.8 + rd * i, 1e-9);
}

// A low-side shunt sees minus the phase current while the low switch carries it, nothing while the
// high switch does; in-line sees the phase current always. 10 A, 20 mV/A, 2.5 V at rest.
TEST(Signs, LowSideShuntSeesMinusThePhaseCurrent) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1.0;  // holds the current
  p.machine.winding_resistance_ohm = 1e-3;
  p.supply.voltage_V = 0.1;
  for (const auto kind : {plant::CurrentSensing::low_side_shunt, plant::CurrentSensing::in_line}) {
    p.phase_current.kind = kind;
    p.phase_current.polarity = 1.0;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    place(drive, 0.0, {10.0, 0.0});
    advance_by(drive, 100e-6);  // 125 time constants of 200 kHz
    const bool shunt = kind == plant::CurrentSensing::low_side_shunt;
    EXPECT_NEAR(drive.phase_current_sense_V(plant::Leg::U), shunt ? 2.3 : 2.7, 1e-5);
    EXPECT_NEAR(drive.phase_current_sense_V(plant::Leg::V), shunt ? 2.6 : 2.4, 1e-5);
    only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
    advance_by(drive, 100e-6);
    EXPECT_NEAR(drive.phase_current_sense_V(plant::Leg::U), shunt ? 2.5 : 2.7, 1e-5);
  }
}

}  // namespace
}  // namespace stillrotor::reference
