// What stands between source and bus: pre-charge resistor, contactor, connector, protection board,
// chopper.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/drive_setup.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

plant::DriveParameters charged_through(double pre_charge_ohm) {
  plant::DriveParameters p;
  p.supply.resistance_ohm = 40e-3;
  p.dc_link = {2e-3, 5e-3};
  p.contactor.fitted = true;
  p.contactor.pull_in_s = 20e-3;
  p.contactor.drop_out_s = 8e-3;
  p.contactor.pre_charge_ohm = pre_charge_ohm;
  return p;
}

// Inrush: peak V/R at once, R all in the loop; then v_C = V (1 - exp(-t/RC)). Textbook.
// The energy that becomes heat equals the one stored, 1/2 C V^2, whatever the resistance. Textbook.
// Tolerance: RK4 at 10 us of RC 20 ms and more; after 20 RC exp(-20) = 2e-9 is left.
TEST(PreCharge, InrushIsVoltageOverResistanceAndHalfTheEnergyIsHeat) {
  for (const double ohm : {10.0, 47.0}) {
    const plant::DriveParameters p = charged_through(ohm);
    plant::Drive drive(p);
    drive.start();
    drive.keep_ledger(true);
    const double loop = ohm + 40e-3 + 5e-3, rc = loop * 2e-3;
    EXPECT_EQ(drive.state().v_cap_V, 0.0);
    EXPECT_NEAR(drive.snapshot().supply_A, 48.0 / loop, 1e-12);
    advance_to(drive, ps(rc));
    EXPECT_NEAR(drive.state().v_cap_V, 48.0 * (1.0 - std::exp(-1.0)), 1e-9);
    advance_to(drive, ps(20.0 * rc));
    const double half_cv2 = 0.5 * 2e-3 * 48.0 * 48.0;
    EXPECT_NEAR(drive.state().dissipated_J / half_cv2, 1.0, 1e-8);
    EXPECT_NEAR(drive.state().supplied_J / half_cv2, 2.0, 1e-8);
  }
}

// The contactor closes on a link that is charged to V (1 - exp(-t/RC)): the second inrush is what
// is missing over the small resistances. By hand; it comes exactly its pull-in time after the
// command.
TEST(PreCharge, SecondInrushIsWhatIsMissingWhenTheContactorCloses) {
  const plant::DriveParameters p = charged_through(10.0);
  plant::Drive drive(p);
  drive.start();
  advance_to(drive, ps(30e-3));
  drive.set_contactor(true);
  advance_to(drive, ps(50e-3) - 1);
  const double missing_V = 48.0 * std::exp(-50e-3 / (10.045 * 2e-3));
  EXPECT_FALSE(drive.state().supply.contactor_closed);
  EXPECT_NEAR(drive.snapshot().supply_A, missing_V / 10.045, 1e-8);
  advance_to(drive, ps(50e-3));
  EXPECT_TRUE(drive.state().supply.contactor_closed);
  EXPECT_NEAR(drive.snapshot().supply_A, missing_V / 0.045, 1e-6);
  drive.set_contactor(false);
  advance_to(drive, ps(58e-3));
  EXPECT_FALSE(drive.state().supply.contactor_closed);
}

TEST(Contactor, AskedBackBeforeItMovedStays) {
  plant::Drive drive(charged_through(10.0));
  drive.start();
  drive.set_contactor(true);
  advance_to(drive, ps(10e-3));
  drive.set_contactor(false);
  advance_to(drive, ps(100e-3));
  EXPECT_FALSE(drive.state().supply.contactor_closed);
}

TEST(Contactor, WithoutAResistorPartsThePath) {
  plant::DriveParameters p = charged_through(0.0);
  plant::Drive drive(p);
  drive.start();
  advance_to(drive, ps(10e-3));
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  EXPECT_EQ(drive.state().v_cap_V, 0.0);
  drive.set_contactor(true);
  advance_to(drive, ps(30e-3));
  EXPECT_NEAR(drive.snapshot().supply_A, 48.0 / 45e-3, 1e-9);  // bare inrush
}

// A checkpoint carries the contactor's delay with it.
TEST(Contactor, ClosesAtTheSameTimeAfterARestore) {
  plant::Drive drive(charged_through(10.0));
  drive.start();
  drive.set_contactor(true);
  advance_to(drive, ps(5e-3));
  const plant::DriveState checkpoint = drive.state();
  advance_to(drive, ps(30e-3));
  const double once = drive.state().v_cap_V;
  drive.restore(checkpoint);
  EXPECT_FALSE(drive.state().supply.contactor_closed);
  advance_to(drive, ps(30e-3));
  EXPECT_EQ(drive.state().v_cap_V, once);
}

// A bounce of the connector under load: while it is apart the link feeds the load alone,
// C dv/dt = -i_load; when it closes again the source finds what is missing. By hand: 20 A for 50 us
// out of 2 mF are 0.5 V.
TEST(Connector, BounceLeavesTheLoadToTheLink) {
  plant::DriveParameters p;
  p.dc_link = {2e-3, 0.0};
  p.machine.winding_resistance_ohm = 1.6 - 4e-3;  // 1.5 * 1.6 = 2.4 ohm: 20 A of 48 V
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  advance_by(drive, 50e-3);
  const double i = drive.snapshot().bridge_A, v = drive.state().v_cap_V;
  drive.set_supply_interrupted(true);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  advance_by(drive, 50e-6);
  // Tolerance: the load's current follows the sag by 1 % at most, later than L/R of 0.1 ms.
  EXPECT_NEAR(v - drive.state().v_cap_V, i * 50e-6 / 2e-3, 0.005);
  drive.set_supply_interrupted(false);
  EXPECT_NEAR(drive.snapshot().supply_A, (48.0 - drive.state().v_cap_V) / 40e-3, 1e-9);
}

plant::DriveParameters protected_pack() {
  plant::DriveParameters p;
  p.supply.protection.fitted = true;
  p.supply.protection.sample_time_s = 1e-3;
  return p;
}

/// When the path opened, or -1.
double opened_at(plant::Drive& drive, double until_s) {
  while (seconds(drive.state()) < until_s) {
    advance_by(drive, 0.1e-3);
    if (drive.state().supply_mode == plant::SupplyMode::open) return seconds(drive.state());
  }
  return -1.0;
}

void load_on(plant::Drive& drive) {
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
}

// Over-current: trips between delay and delay + 2 samples behind the onset, not below its limit,
// and comes back after the retry time. The winding's current rises with L/R = 2.8 ms to 48 V over
// 121 mohm = 400 A and passes 100 A after 0.8 ms.
TEST(Protection, OverCurrentOpensThePackAfterItsDelay) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.discharge = {100.0, 10e-3};
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  const double at_s = opened_at(drive, 0.1);
  EXPECT_GE(at_s, 10.8e-3);
  EXPECT_LE(at_s, 0.8e-3 + 12e-3);
  advance_by(drive, 0.2);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::open);  // no retry asked for
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  EXPECT_LT(drive.snapshot().bus_V, 0.1);

  p.supply.protection.discharge.trip_A = 500.0;
  plant::Drive strong(p);
  strong.start();
  load_on(strong);
  EXPECT_EQ(opened_at(strong, 0.1), -1.0);
}

TEST(Protection, RetriesAfterItsTime) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.discharge = {100.0, 10e-3};
  p.supply.protection.retry_s = 50e-3;
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  ASSERT_GT(opened_at(drive, 0.1), 0.0);
  only_on(drive, {});
  advance_by(drive, 51e-3);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::voltage);
}

// A shorter overload than the delay passes.
TEST(Protection, ForgetsAnOverloadShorterThanItsDelay) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.discharge = {100.0, 10e-3};
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  EXPECT_EQ(opened_at(drive, 7e-3), -1.0);
  only_on(drive, {});
  EXPECT_EQ(opened_at(drive, 0.1), -1.0);
}

// Under-voltage at the pack's terminals under load, by its resistance: 48 V - 40 mohm * 355 A.
// After the opening the terminals stand at 48 V again, so the pack closes at its release, and with
// the load still on it opens again.
TEST(Protection, UnderVoltageReleasesWhenThePackRecovers) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.under_voltage = {40.0, 44.0, 5e-3};
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  ASSERT_GT(opened_at(drive, 0.1), 5e-3);
  advance_by(drive, 2e-3);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::voltage);
  EXPECT_GT(opened_at(drive, 0.2), 0.0);
  // With the release out of the resting pack's reach it stays open.
  p.supply.protection.under_voltage.release_V = 49.0;
  plant::Drive stays(p);
  stays.start();
  load_on(stays);
  ASSERT_GT(opened_at(stays, 0.1), 0.0);
  advance_by(stays, 0.1);
  EXPECT_EQ(stays.state().supply_mode, plant::SupplyMode::open);
}

// Charging: a machine that is driven returns current into the pack; too much of it opens the pack,
// and the bus is then left to the machine.
TEST(Protection, OverCurrentIntoThePackOpensIt) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.charge = {20.0, 2e-3};
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 5000.0);  // 12 mWb: 60 V a phase, rectified far above 48 V
  ASSERT_GT(opened_at(drive, 0.1), 2e-3);
  advance_by(drive, 20e-3);
  EXPECT_GT(drive.snapshot().bus_V, 80.0);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
}

TEST(Protection, OverVoltageOfTheChargedPackOpensIt) {
  plant::DriveParameters p = protected_pack();
  p.supply.protection.over_voltage = {49.5, 49.0, 2e-3};
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 5000.0);
  EXPECT_GT(opened_at(drive, 0.1), 2e-3);
  plant::Drive rests(p);
  rests.start();
  EXPECT_EQ(opened_at(rests, 0.1), -1.0);
}

// A chopper at a constant bus takes duty * V^2/R, by its gate. Bus held by a source of 1 uohm. By
// hand: 48^2/8 = 288 W, a quarter of the time for 0.1 s: 7.2 J.
TEST(Chopper, TakesItsDutyOfVoltageSquaredOverResistance) {
  plant::DriveParameters p;
  p.supply.resistance_ohm = 1e-6;
  p.dc_link = {1.0, 0.0};
  p.chopper.resistance_ohm = 8.0;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  drive.start();
  drive.keep_ledger(true);
  for (int n = 0; n < 100; ++n) {
    drive.set_chopper(true);
    advance_by(drive, 0.25e-3);
    drive.set_chopper(false);
    advance_by(drive, 0.75e-3);
  }
  // Tolerance: the source's own 1 uohm beside 8 ohm, and what the link lags, 6 uV.
  EXPECT_NEAR(drive.state().dissipated_J, 7.2, 7.2 * 1e-6);
  EXPECT_NEAR(drive.state().supplied_J, 7.2, 7.2 * 1e-6);
}

// By itself: the returned energy of a machine that a bench supply cannot take goes to the resistor;
// the bus stays between the thresholds, each found exactly, and nothing chatters.
TEST(Chopper, HoldsTheBusBetweenItsThresholds) {
  plant::DriveParameters p;
  p.supply.kind = plant::SupplyKind::bench_supply;
  p.dc_link = {1e-3, 5e-3};
  p.chopper = {0.5, true, 60.0, 57.0};
  plant::Drive drive(p);
  drive.start();
  drive.keep_ledger(true);
  hold_electrical(drive, 5000.0);
  advance_by(drive, 20e-3);
  double most_V = 0.0, least_V = 1e9;
  int turns_on = 0;
  bool was_on = false;
  EachStep watch([&](const plant::Segment& step) {
    const double v = drive.probe(*step.end).bus_V;
    most_V = std::max(most_V, v);
    least_V = std::min(least_V, v);
    if (drive.state().supply.chopper_on && !was_on) ++turns_on;
    was_on = drive.state().supply.chopper_on;
  });
  const double before_J = drive.state().dissipated_J;
  advance_by(drive, 50e-3, &watch);
  EXPECT_GT(turns_on, 3);
  // Beyond the threshold by what the landing allows only (1e-9 V).
  EXPECT_LT(most_V, 60.0 + 1e-8);
  EXPECT_GT(least_V, 57.0 - 1e-8);
  EXPECT_GT(drive.state().dissipated_J, before_J + 10.0);
  EXPECT_EQ(drive.health().forced_steps, 0u);
}

// Energy: machine's work in = chopper, link and losses out.
TEST(Chopper, EnergyBalances) {
  plant::DriveParameters p;
  p.supply.kind = plant::SupplyKind::bench_supply;
  p.dc_link = {1e-3, 5e-3};
  p.chopper = {0.5, true, 60.0, 57.0};
  p.step_max_s = 1e-6;
  plant::Drive drive(p);
  drive.start();
  drive.keep_ledger(true);
  hold_electrical(drive, 5000.0);
  advance_by(drive, 20e-3);
  const plant::DriveState& s = drive.state();
  const double stored_J =
      0.5e-3 * (s.v_cap_V * s.v_cap_V - 48.0 * 48.0) +
      0.75 * p.machine.inductance_d_H * (s.i_alpha_A * s.i_alpha_A + s.i_beta_A * s.i_beta_A);
  EXPECT_LT(s.mechanical_J, -1.0);
  EXPECT_LT(std::abs(s.supplied_J - s.mechanical_J - s.dissipated_J - stored_J),
            1e-7 * -s.mechanical_J);
}

// Thresholds so close that switching on would itself switch off are refused, with the limit.
TEST(Chopper, RefusesThresholdsThatWouldChatter) {
  plant::DriveParameters p;
  p.dc_link = {1e-3, 50e-3};
  p.chopper = {2.0, true, 60.0, 59.0};
  EXPECT_THROW(plant::Drive{p}, std::invalid_argument);
  p.chopper.off_V = 58.0;  // 60 * 2/2.05 = 58.54
  EXPECT_NO_THROW(plant::Drive{p});
}

// A supply at its limit of 100 A behind 0.1 ohm, 60 V set; 150 A flow into U until its switch turns
// off, 50 V on the link's capacitor, 20 mohm: a source that went on would put the bus at 52 V, but
// it gives 60 V / 0.1 ohm less what the bus is: (50 V / 20 mohm + 60 V / 0.1 ohm) / (50 S + 10 S) =
// 51.667 V. By hand. What watches the bus between these two stays as it was.
TEST(BrakeChopper, AndTheLatchSeeTheBusAsTheSourceHasAnswered) {
  plant::DriveParameters p = stiff_drive();
  p.supply = {plant::SupplyKind::bench_supply, 60.0, 0.1, 100.0};
  p.supply.latch_above_V = 51.9;
  p.dc_link = {1e-3, 20e-3};
  p.chopper = {50.0, true, 51.8, 51.0};
  plant::Drive drive(p);
  drive.start({0.0, 0.0, 50.0});
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {150.0, 0.0});
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  EXPECT_NEAR(drive.snapshot().bus_V, 49.0, 1e-9);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::current_limit);
  drive.set_switch(Switch::UH, false);
  EXPECT_NEAR(drive.snapshot().bus_V, 3100.0 / 60.0, 1e-9);
  EXPECT_EQ(drive.state().supply_mode, plant::SupplyMode::voltage);
  EXPECT_FALSE(drive.state().supply.chopper_on);
  EXPECT_FALSE(drive.state().supply.latched);
}

}  // namespace
}  // namespace stillrotor::reference
