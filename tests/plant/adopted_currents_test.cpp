// Currents that were measured elsewhere and take the place of the plant's own.
#include <gtest/gtest.h>

#include <cmath>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;

DriveParameters salient() {
  DriveParameters d;
  d.machine.inductance_q_H = 250e-6;
  d.step_max_s = 2e-6;
  return d;
}

/// All low switches on.
Drive braking(const DriveParameters& d, double omega_m_rad_s = 100.0) {
  Drive drive(d);
  drive.start({omega_m_rad_s, 0.1, -1.0});
  for (const Switch s : {Switch::UL, Switch::VL, Switch::WL}) drive.set_switch(s, true);
  return drive;
}

void run_to(Drive& drive, std::int64_t until_ps) {
  while (drive.advance(until_ps).edge) {
  }
}

TEST(AdoptedCurrents, FlowFromThatMomentOnAndLeaveTheRestAlone) {
  Drive drive = braking(salient());
  run_to(drive, 100 * us);
  const DriveState before = drive.state();
  drive.adopt_currents({12.0, -5.0, -7.0}, 0.05);
  const Snapshot s = drive.snapshot();
  EXPECT_NEAR(s.current_A.U, 12.0, 1e-12);
  EXPECT_NEAR(s.current_A.V, -5.0, 1e-12);
  EXPECT_NEAR(s.current_A.W, -7.0, 1e-12);
  EXPECT_EQ(drive.state().omega_m_rad_s, before.omega_m_rad_s);
  EXPECT_EQ(drive.state().theta_e_rad, before.theta_e_rad);
  EXPECT_EQ(drive.state().v_cap_V, before.v_cap_V);
  EXPECT_EQ(drive.state().time_ps, before.time_ps);
}

// Two plants that know the same and stand alike run alike from there on, to the bit.
TEST(AdoptedCurrents, OfATwinMakeTheSameMotion) {
  Drive one = braking(salient()), two = braking(salient());
  run_to(one, 100 * us);
  run_to(two, 100 * us);
  const Phases own = one.snapshot().current_A;
  two.adopt_currents({own.U + 3.0, own.V - 1.0, own.W - 2.0}, 0.05);
  two.adopt_currents(own, 0.05);
  run_to(one, 900 * us);
  run_to(two, 900 * us);
  EXPECT_NEAR(one.state().i_alpha_A, two.state().i_alpha_A, 1e-12);
  EXPECT_NEAR(one.state().omega_m_rad_s, two.state().omega_m_rad_s, 1e-13);
}

TEST(AdoptedCurrents, ChooseTheDiodesOfLegsThatAreOff) {
  Drive drive = braking(salient());
  for (const Switch s : {Switch::UL, Switch::VL, Switch::WL}) drive.set_switch(s, false);
  drive.adopt_currents({12.0, -5.0, -7.0}, 0.05);
  EXPECT_EQ(drive.state().leg[0], Conduction::low_diode);
  EXPECT_EQ(drive.state().leg[1], Conduction::high_diode);
  EXPECT_EQ(drive.state().leg[2], Conduction::high_diode);
  drive.adopt_currents({-12.0, 5.0, 7.0}, 0.05);
  EXPECT_EQ(drive.state().leg[0], Conduction::high_diode);
  EXPECT_EQ(drive.state().leg[1], Conduction::low_diode);
  EXPECT_EQ(drive.health().inconsistent_modes, 0U);
}

// A rotor that stands has no EMF that would call on the diode.
TEST(AdoptedCurrents, OfALegThatRestsAreTakenForNoneWithinTheResolution) {
  Drive drive = braking(salient(), 0.0);
  drive.set_switch(Switch::WL, false);
  drive.adopt_currents({10.0, -9.97, -0.03}, 0.05);
  EXPECT_EQ(drive.state().leg[2], Conduction::floating);
  EXPECT_NEAR(drive.snapshot().current_A.W, 0.0, 1e-12);
  EXPECT_NEAR(drive.snapshot().current_A.U, 9.985, 1e-12);  // what W has goes half to each
  // A leg with a switch on carries so little as well.
  drive.adopt_currents({0.03, 9.97, -10.0}, 0.05);
  EXPECT_NEAR(drive.snapshot().current_A.U, 0.03, 1e-12);
  // All off and nothing but the resolution: nothing flows.
  drive.set_switch(Switch::UL, false);
  drive.set_switch(Switch::VL, false);
  drive.adopt_currents({0.03, -0.01, -0.02}, 0.05);
  EXPECT_EQ(drive.state().i_alpha_A, 0.0);
  EXPECT_EQ(drive.state().i_beta_A, 0.0);
  for (const Conduction leg : drive.state().leg) EXPECT_EQ(leg, Conduction::floating);
}

TEST(AdoptedCurrents, NeverFlowInAnOpenPhase) {
  Drive drive = braking(salient());
  drive.set_phase_open(Leg::V, true);
  drive.adopt_currents({10.0, 4.0, -14.0}, 0.05);
  EXPECT_NEAR(drive.snapshot().current_A.V, 0.0, 1e-12);
  EXPECT_NEAR(drive.snapshot().current_A.U, 12.0, 1e-12);
}

// By hand: 1.5 (L_d i_d^2 + L_q i_q^2) / 2 with 12 A in d at the angle 0, 150 uH: 16.2 mJ; then the
// books close over a run with what was adopted in them, to the integration's own 1e-8.
TEST(AdoptedCurrents, StandInTheLedgerByThemselves) {
  Drive drive(salient());
  drive.keep_ledger(true);
  drive.start({0.0, 0.0, -1.0});
  for (const Switch s : {Switch::UL, Switch::VL, Switch::WL}) drive.set_switch(s, true);
  const double begin_J = drive.stored_J();
  drive.adopt_currents({12.0, -6.0, -6.0}, 0.05);
  EXPECT_NEAR(drive.state().adopted_J, 0.5 * 1.5 * 150e-6 * 144.0, 1e-12);
  for (int n = 1; n <= 20; ++n) {
    run_to(drive, n * 100 * us);
    const Phases i = drive.snapshot().current_A;
    drive.adopt_currents({i.U + 1.0, i.V - 2.0, i.W + 1.0}, 0.05);
  }
  const DriveState& s = drive.state();
  const double missing_J =
      s.supplied_J + s.adopted_J - (drive.stored_J() - begin_J) - s.mechanical_J - s.dissipated_J;
  EXPECT_NEAR(missing_J / s.adopted_J, 0.0, 1e-8);
  EXPECT_GT(s.dissipated_J, 1e-3);
}

// A delta's loop keeps its flux linkage apart from the line's: the impulse that makes the line
// currents jump goes through its windings too.
TEST(AdoptedCurrents, TakeADeltasLoopWithThem) {
  DriveParameters d = salient();
  d.machine.connection = Connection::delta;
  d.machine.turns_factor[0] = 0.9;
  Drive drive = braking(d);
  drive.keep_ledger(true);
  run_to(drive, 200 * us);
  const DriveState& s = drive.state();
  const double begin_J = drive.stored_J() - s.supplied_J + s.mechanical_J + s.dissipated_J;
  drive.adopt_currents({12.0, -5.0, -7.0}, 0.05);
  EXPECT_NEAR(drive.snapshot().current_A.U, 12.0, 1e-12);
  run_to(drive, 900 * us);
  EXPECT_NEAR(drive.stored_J() - s.supplied_J + s.mechanical_J + s.dissipated_J - s.adopted_J,
              begin_J, 1e-7 * std::abs(drive.stored_J()));
}

}  // namespace
}  // namespace stillrotor::plant
