// The plant in phase quantities beside the plant in alpha-beta, and the step from one to the other.
#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>
#include <string>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;

DriveParameters salient(Connection connection) {
  DriveParameters p;
  p.machine.connection = connection;
  p.machine.inductance_q_H = 250e-6;
  p.machine.back_emf = {{1, 1.0}, {5, 0.06}, {7, -0.03}, {11, 0.02}, {13, 0.01}};
  p.step_max_s = 2e-6;
  return p;
}

/// A chopped six-step pattern that turns on by itself, with all legs off now and then.
void drive_on(Drive& drive, int from_step, int steps) {
  constexpr Switch high[6] = {Switch::UH, Switch::VH, Switch::VH,
                              Switch::WH, Switch::WH, Switch::UH};
  constexpr Switch low[6] = {Switch::WL, Switch::WL, Switch::UL,
                             Switch::UL, Switch::VL, Switch::VL};
  for (int n = from_step; n < from_step + steps; ++n) {
    const int m = n / 20 % 6;
    drive.set_switch(high[m], true);
    drive.set_switch(low[m], true);
    const std::int64_t begin = drive.state().time_ps;
    while (drive.advance(begin + 30 * us).edge) {
    }
    drive.set_switch(high[m], false);
    while (drive.advance(begin + 55 * us).edge) {
    }
    drive.set_switch(low[m], false);
    while (drive.advance(begin + 62 * us).edge) {
    }
  }
}

Drive started(const DriveParameters& p) {
  Drive drive(p);
  drive.start({150.0, 0.1, -1.0});
  return drive;
}

// Two integrations of the same motion in other variables, 120 steps of 62 us with every kind of
// conduction: they part by their own errors, far below 1e-6 of the 50 A that flow.
TEST(PhaseQuantities, OfASymmetricalMachineMoveLikeItsAlphaBeta) {
  for (const Connection connection : {Connection::star, Connection::delta}) {
    Drive plain = started(salient(connection)), phase = started(salient(connection));
    phase.use_phase_quantities(true);
    ASSERT_EQ(plain.state().machine.model, MachineModel::linear_magnet);
    ASSERT_EQ(phase.state().machine.model, MachineModel::phase_magnet);
    double peak_A = 0.0;
    for (int n = 0; n < 120; ++n) {
      drive_on(plain, n, 1);
      drive_on(phase, n, 1);
      const Phases a = plain.snapshot().current_A, b = phase.snapshot().current_A;
      peak_A = std::max({peak_A, std::abs(a.U), std::abs(a.V), std::abs(a.W)});
      ASSERT_NEAR(a.U, b.U, 1e-6) << n;
      ASSERT_NEAR(a.V, b.V, 1e-6) << n;
      ASSERT_NEAR(plain.snapshot().terminal_V.W, phase.snapshot().terminal_V.W, 2e-6) << n;
    }
    EXPECT_GT(peak_A, 10.0);
    EXPECT_NEAR(plain.state().omega_m_rad_s, phase.state().omega_m_rad_s, 1e-7);
    EXPECT_NEAR(plain.state().theta_e_rad, phase.state().theta_e_rad, 1e-9);
    EXPECT_EQ(phase.health().inconsistent_modes, 0U);
  }
}

// The step of a star's own against the general one (taken while the ledger is kept), in all that
// the first knows: unequal windings, triplens, cogging, iron, inputs that move, knees.
TEST(PhaseQuantities, OfAStarStepLikeTheGeneralForm) {
  DriveParameters p = salient(Connection::star);
  p.machine.back_emf.push_back({3, 0.1});
  p.machine.resistance_factor[1] = 1.4;
  p.machine.turns_factor[2] = 0.9;
  p.machine.cogging = {{24, 0.2, 0.3}};
  p.machine.iron_loss.reference_W = 40.0;
  p.bridge.diode_resistance_ohm = 20e-3;
  p.step_max_s = 10e-6;
  Drive own = started(p), general = started(p);
  general.keep_ledger(true);
  double peak_A = 0.0;
  for (Drive* d : {&own, &general}) {
    ASSERT_EQ(d->state().machine.model, MachineModel::phase_magnet);
    d->set_load_torque_Nm({0.5, 40.0});
    d->set_supply_V({48.0, -100.0});
  }
  for (int n = 0; n < 240; ++n) {
    for (Drive* d : {&own, &general}) drive_on(*d, n, 1);
    const DriveState &a = own.state(), &b = general.state();
    peak_A = std::max(peak_A, std::abs(a.i_alpha_A));
    ASSERT_NEAR(a.i_alpha_A, b.i_alpha_A, 3e-6) << n;
    ASSERT_NEAR(a.i_beta_A, b.i_beta_A, 3e-6) << n;
    ASSERT_NEAR(a.v_cap_V, b.v_cap_V, 1e-6) << n;
    ASSERT_NEAR(a.omega_m_rad_s, b.omega_m_rad_s, 3e-7) << n;
    ASSERT_NEAR(a.theta_e_rad, b.theta_e_rad, 1e-8) << n;
  }
  EXPECT_GT(peak_A, 10.0);
}

// Nothing moves at the step itself: currents, linkages, charge and angle are the same to the bit
// (linkages: to rounding, they are computed by two classes).
TEST(PhaseQuantities, TakeOverInARunWithLinkagesAndChargeKept) {
  for (const Connection connection : {Connection::star, Connection::delta}) {
    Drive drive = started(salient(connection));
    drive_on(drive, 0, 37);
    const DriveState before = drive.state();
    const auto linkage = drive.linkage_Wb();
    const double energy = drive.stored_J();
    const double terminal_V = drive.snapshot().terminal_V.U;
    drive.use_phase_quantities(true);
    EXPECT_EQ(drive.state().i_alpha_A, before.i_alpha_A);
    EXPECT_EQ(drive.state().i_beta_A, before.i_beta_A);
    EXPECT_EQ(drive.state().v_cap_V, before.v_cap_V);
    EXPECT_EQ(drive.state().theta_e_rad, before.theta_e_rad);
    for (std::size_t k = 0; k < 3; ++k) EXPECT_NEAR(drive.linkage_Wb()[k], linkage[k], 1e-16);
    EXPECT_NEAR(drive.stored_J(), energy, 1e-14);
    EXPECT_NEAR(drive.snapshot().terminal_V.U, terminal_V, 1e-9);
    drive_on(drive, 37, 5);
    EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  }
}

TEST(PhaseQuantities, TakeOverByThemselvesWhereAJointGoesBad) {
  Drive drive = started(salient(Connection::star));
  drive_on(drive, 0, 37);
  const auto linkage = drive.linkage_Wb();
  const double charge_V = drive.state().v_cap_V;
  ASSERT_TRUE(drive.set_joint_ohm(Leg::V, 0.35));
  EXPECT_EQ(drive.state().machine.model, MachineModel::phase_magnet);
  for (std::size_t k = 0; k < 3; ++k) EXPECT_NEAR(drive.linkage_Wb()[k], linkage[k], 1e-15);
  EXPECT_EQ(drive.state().v_cap_V, charge_V);
  drive.set_joint_ohm(Leg::V, 0.0);
  EXPECT_EQ(drive.state().machine.model, MachineModel::linear_magnet);
}

TEST(PhaseQuantities, StayWithADeltaWhoseLoopMayCarryACurrent) {
  Drive drive = started(salient(Connection::delta));
  ASSERT_TRUE(drive.set_joint_ohm(Leg::V, 0.35));
  drive_on(drive, 0, 37);
  const double loop_A = drive.state().extra.inner[0];
  ASSERT_GT(std::abs(loop_A), 1e-3);
  drive.set_joint_ohm(Leg::V, 0.0);
  EXPECT_EQ(drive.state().machine.model, MachineModel::phase_magnet);
  EXPECT_EQ(drive.state().extra.inner[0], loop_A);
}

// A flux map is of a star with equal windings: the setters say so, and set-up refuses the rest
// before it looks at the map.
TEST(PhaseQuantities, AreRefusedToAMachineWithoutSingleWindings) {
  DriveParameters p;
  p.induction = InductionParameters{2, 1.9, 6e-3, 1.5, 6e-3, 0.18};
  Drive pump(p);
  EXPECT_FALSE(pump.set_joint_ohm(Leg::U, 0.1));
  EXPECT_FALSE(pump.use_phase_quantities(true));
  EXPECT_EQ(pump.state().machine.model, MachineModel::induction);

  DriveParameters mapped = salient(Connection::delta);
  mapped.machine.flux_map.psi_d_Wb = {0.01};
  try {
    const Drive drive(mapped);
    FAIL() << "a delta took a star's flux map";
  } catch (const std::invalid_argument& problem) {
    EXPECT_NE(std::string(problem.what()).find("connection: delta"), std::string::npos)
        << problem.what();
  }
}

// A checkpoint carries the model with it.
TEST(PhaseQuantities, AreRestoredWithTheState) {
  Drive drive = started(salient(Connection::star));
  drive_on(drive, 0, 11);
  const DriveState plain = drive.state();
  drive.set_joint_ohm(Leg::U, 0.15);
  drive_on(drive, 11, 11);
  const DriveState uneven = drive.state();
  drive.restore(plain);
  drive_on(drive, 11, 11);
  EXPECT_EQ(drive.state().machine.model, MachineModel::linear_magnet);
  drive.restore(uneven);
  EXPECT_EQ(drive.state().machine.model, MachineModel::phase_magnet);
  EXPECT_EQ(drive.state().i_alpha_A, uneven.i_alpha_A);
}

}  // namespace
}  // namespace stillrotor::plant
