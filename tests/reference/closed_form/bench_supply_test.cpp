// A bench supply with loops of finite speed, fold-back, latch; without any, dc_link_test.cpp.
//   dv_s/dt = min(w_v (V - v_s + R i), k (limit - i)),  k = w_i V / limit.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/drive_setup.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::SupplyKind;
using plant::SupplyMode;

plant::DriveParameters bench() {
  plant::DriveParameters p;
  p.supply = {SupplyKind::bench_supply, 48.0, 40e-3, 30.0};
  p.supply.voltage_loop_Hz = 500.0;
  p.supply.current_loop_Hz = 1e3;
  p.dc_link = {1e-3, 5e-3};
  p.machine.flux_linkage_Wb = 1e-3;
  return p;
}

/// A large load resistance: the winding at rest, 1.5 (R + R_on), with L/R of a microsecond.
double resistive_load(plant::DriveParameters& p, double ohm) {
  p.machine.winding_resistance_ohm = ohm / 1.5 - p.bridge.switch_on_resistance_ohm;
  p.machine.inductance_d_H = p.machine.inductance_q_H = ohm / 1.5 * 2e-6;
  return ohm;
}

void load_on(plant::Drive& drive) {
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
}

// Voltage loop against the link: with the output at v_s - R i = v_dc (no ESR: v_C) it is
// C R v'' + v' (1 + R/R_load) + w_v v = w_v V, so a load step makes a dip that the loop takes back
// to exactly V: an ideal supply would stay R i below. By hand, the steady state:
TEST(BenchSupply, VoltageLoopHoldsTheOutputWhateverTheResistance) {
  plant::DriveParameters p = bench();
  const double load = resistive_load(p, 4.0);
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  double lowest_V = 1e9;
  EachStep watch([&](const plant::Segment& step) {
    lowest_V = std::min(lowest_V, drive.probe(*step.end).bus_V);
  });
  advance_to(drive, ps(50e-3), &watch);
  EXPECT_NEAR(drive.snapshot().bus_V, 48.0, 1e-9);
  EXPECT_NEAR(drive.snapshot().supply_A, 48.0 / load, 1e-9);
  EXPECT_LT(lowest_V, 47.7);  // it was not held all the time
}

// The dip in closed form, current limit far away: v_C and v_s after the step onto load R_l, from
//   C v' = (v_s - v)/R - v/R_l,  v_s' = w_v (V - v)   (ESR 0)
// whose roots are those of s^2 + s a + b, a = 1/(R C) + 1/(R_l C), b = w_v/(R C). Derived.
TEST(BenchSupply, DipOfALoadStepIsTheLoopsSecondOrderAnswer) {
  plant::DriveParameters p = bench();
  p.dc_link.series_resistance_ohm = 0.0;
  p.supply.current_limit_A = 1e3;
  const double load = resistive_load(p, 4.0);
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  const double rc = 40e-3 * 1e-3, w = plant::two_pi * 500.0;
  const double a = 1.0 / rc + 1.0 / (load * 1e-3), b = w / rc;
  ASSERT_GT(a * a, 4.0 * b);
  const double root = std::sqrt(0.25 * a * a - b), s1 = -0.5 * a + root, s2 = -0.5 * a - root;
  // x = v - V: x(0) = 0, x'(0) = -V/(R_l C)
  const double slope = -48.0 / (load * 1e-3);
  for (const double t : {100e-6, 300e-6, 1e-3}) {
    advance_to(drive, ps(t));
    const double x = slope * (std::exp(s1 * t) - std::exp(s2 * t)) / (s1 - s2);
    // Tolerance: the load's own L/R of 2 us delays the step by that: 2 us * slope 12 V/ms = 24 mV
    // at first, gone with the answer's own constants; charge not drawn in it, 24 uC on 1 mF.
    EXPECT_NEAR(drive.state().v_cap_V - 48.0, x, 0.025) << t;
    EXPECT_LT(x, -0.01);
  }
}

// Current loop into a resistance: C and loop settle at limit * load, and while the link charges
// from 0 V the current stays below the limit by the share that the ramp of the bus costs: k (limit
// - i) = dv/dt = i/C, so i = limit k/(k + 1/C). Derived; steady ramp, ESR 0.
TEST(BenchSupply, CurrentLoopChargesTheLinkAtItsShareOfTheLimit) {
  plant::DriveParameters p = bench();
  p.dc_link = {10e-3, 0.0};
  plant::Drive drive(p);
  drive.start({0.0, 0.0, 0.0});
  advance_to(drive, ps(5e-3));
  const double k = plant::two_pi * 1e3 * 48.0 / 30.0;
  EXPECT_EQ(drive.state().supply_mode, SupplyMode::current_limit);
  // Tolerance: the first transient (R C_eff = 40e-3/(k + 1/C), 4 us) is 1,000 constants ago.
  EXPECT_NEAR(drive.snapshot().supply_A, 30.0 * k / (k + 100.0), 1e-9);
  // Charged, it overshoots: the integrator stands up to R i = 1.2 V above the output when the loops
  // change hands. Nothing draws, so the link stays there.
  advance_to(drive, ps(60e-3));
  EXPECT_EQ(drive.state().supply_mode, SupplyMode::blocked);
  EXPECT_GT(drive.snapshot().bus_V, 48.0);
  EXPECT_LT(drive.snapshot().bus_V, 49.2);
  EXPECT_EQ(drive.health().forced_steps, 0u);
}

// At the end of the overload the loops change hands: in the steady state the current is the limit.
TEST(BenchSupply, CurrentLoopHoldsTheLimitIntoAnOverload) {
  plant::DriveParameters p = bench();
  const double load = resistive_load(p, 1.0);  // asks for 48 A
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  advance_to(drive, ps(50e-3));
  EXPECT_NEAR(drive.snapshot().supply_A, 30.0, 1e-9);
  EXPECT_NEAR(drive.snapshot().bus_V, 30.0 * load, 1e-9);
}

// Blocked, nothing flows, and the source follows the lower loop as ever: from 20 V back to 48 V
// by k limit, 30.2 V/ms, until the voltage loop's w_v (V - v_s) is less, and then by that. Derived.
TEST(BenchSupply, SourceThatFeedsNothingRisesByItsLowerLoop) {
  plant::DriveParameters p = bench();
  p.supply.current_loop_Hz = 100.0;
  plant::Drive drive(p);
  drive.start();
  drive.set_supply_V({20.0, 0.0});
  advance_to(drive, ps(20e-3));
  ASSERT_EQ(drive.state().supply_mode, SupplyMode::blocked);
  ASSERT_NEAR(drive.state().extra.supply_inner, 20.0, 1e-9);
  drive.set_supply_V({48.0, 0.0});
  const double w = plant::two_pi * 500.0, slope = plant::two_pi * 100.0 * 48.0;
  advance_by(drive, 0.3e-3);
  EXPECT_NEAR(drive.state().extra.supply_inner, 20.0 + 0.3e-3 * slope, 1e-9);
  const double left_V = slope / w, hand_over_s = (28.0 - left_V) / slope;
  advance_by(drive, 0.9e-3);
  // Tolerance: the loops change hands inside a step h of 10 us, at most w slope h^2 / 2 = 5 mV.
  EXPECT_NEAR(drive.state().extra.supply_inner,
              48.0 - left_V * std::exp(-w * (1.2e-3 - hand_over_s)), 5e-3);
  EXPECT_EQ(drive.state().supply_mode, SupplyMode::blocked);
}

// A loop of 9 kHz has 18 us; steps of 50 us once stepped over it while nothing flowed.
TEST(BenchSupply, SourceThatFeedsNothingKeepsToItsLoopInLongSteps) {
  plant::DriveParameters p = bench();
  p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 9e3;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  drive.start();
  drive.set_supply_V({20.0, 0.0});
  for (const double t : {50e-6, 100e-6, 150e-6}) {
    advance_to(drive, ps(t));
    // Steps of a fifth of a time constant: 0.2^4/120 of the transient.
    EXPECT_NEAR(drive.state().extra.supply_inner, 20.0 + 28.0 * std::exp(-plant::two_pi * 9e3 * t),
                28.0 * 1.5e-5)
        << t;
  }
}

// Fold-back: limit 30 A at 48 V down to 6 A into a short, i = 30 - (24/48)(48 - v). On a resistance
// r: v = r i, i = 6 + v/2, so i = 6/(1 - r/2). By hand for r = 0.5 ohm: 8 A. Ideal and with loops.
TEST(BenchSupply, LimitFoldsBackWithTheOutput) {
  for (const bool ideal : {true, false}) {
    plant::DriveParameters p = bench();
    p.supply.fold_back_A = 6.0;
    if (ideal) p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 0.0;
    const double load = resistive_load(p, 0.5);
    plant::Drive drive(p);
    drive.start();
    load_on(drive);
    advance_to(drive, ps(60e-3));
    EXPECT_NEAR(drive.snapshot().supply_A, 8.0, 1e-6) << ideal;
    EXPECT_NEAR(drive.snapshot().bus_V, 8.0 * load, 1e-6) << ideal;
  }
}

// Switched off by over-voltage: braking raises the bus past it, and it stays off afterwards.
// By hand: the link runs down through the winding and nothing comes after.
TEST(BenchSupply, LatchesOffAboveItsVoltage) {
  plant::DriveParameters p = bench();
  p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 0.0;
  p.supply.latch_above_V = 55.0;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {150.0, 0.0});  // 0.75 L i^2 = 2.5 J into 1 mF at 48 V: 85 V
  only_on(drive, {});
  advance_by(drive, 5e-3);
  EXPECT_GT(drive.snapshot().bus_V, 55.0);
  EXPECT_TRUE(drive.state().supply.latched);
  load_on(drive);
  advance_by(drive, 0.2);
  EXPECT_LT(drive.snapshot().bus_V, 1e-3);
  EXPECT_EQ(drive.snapshot().supply_A, 0.0);
  // A threshold that is not reached leaves it on.
  p.supply.latch_above_V = 200.0;
  plant::Drive other(p);
  other.start();
  hold_electrical(other, 0.0);
  place(other, 0.0, {150.0, 0.0});
  only_on(other, {});
  advance_by(other, 5e-3);
  EXPECT_FALSE(other.state().supply.latched);
}

// Never a sink, whatever the loops do: returned energy raises the bus, current is never negative.
TEST(BenchSupply, WithLoopsAndCableNeverTakesCurrentBack) {
  for (const double cable_H : {0.0, 5e-6}) {
    plant::DriveParameters p = bench();
    p.supply.cable_inductance_H = cable_H;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    place(drive, 0.0, {60.0, 0.0});
    only_on(drive, {});
    double least_A = 1e9, most_V = 0.0;
    EachStep watch([&](const plant::Segment& step) {
      const plant::Probe probe = drive.probe(*step.end);
      least_A = std::min(least_A, probe.supply_A);
      most_V = std::max(most_V, probe.bus_V);
    });
    advance_by(drive, 3e-3, &watch);
    load_on(drive);
    advance_by(drive, 50e-3, &watch);
    EXPECT_GE(least_A, -1e-8) << cable_H;
    EXPECT_GT(most_V, 53.0) << cable_H;
    EXPECT_NEAR(drive.snapshot().supply_A, 30.0, 1.0) << cable_H;
    EXPECT_EQ(drive.health().forced_steps, 0u) << cable_H;
  }
}

// Books: set voltage times current in; link, cable and winding store; the rest is heat, the
// regulator's included. Load on and off, through limit, block and voltage.
TEST(BenchSupply, EnergyBalancesInEveryMode) {
  for (const bool loops : {false, true})
    for (const double cable_H : {0.0, 5e-6}) {
      plant::DriveParameters p = bench();
      if (!loops) p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 0.0;
      p.supply.cable_inductance_H = cable_H;
      p.supply.fold_back_A = 20.0;
      p.machine.winding_resistance_ohm =
          1.6;  // asks for 20 A: no overload once the link is charged
      p.step_max_s = 1e-6;
      plant::Drive drive(p);
      drive.start({0.0, 0.0, 10.0});
      hold_electrical(drive, 0.0);
      drive.keep_ledger(true);
      const auto stored_J = [&] {
        const plant::DriveState& s = drive.state();
        return 0.5e-3 * s.v_cap_V * s.v_cap_V +
               0.75 * p.machine.inductance_d_H *
                   (s.i_alpha_A * s.i_alpha_A + s.i_beta_A * s.i_beta_A) +
               0.5 * cable_H * s.extra.i_cable_A * s.extra.i_cable_A;
      };
      const double before_J = stored_J();
      bool seen[4] = {};
      for (int n = 0; n < 6; ++n) {
        load_on(drive);
        for (int k = 0; k < 20; ++k) {
          advance_by(drive, 0.1e-3);
          seen[static_cast<int>(drive.state().supply_mode)] = true;
        }
        only_on(drive, {});
        for (int k = 0; k < 20; ++k) {
          advance_by(drive, 0.1e-3);
          seen[static_cast<int>(drive.state().supply_mode)] = true;
        }
      }
      const plant::DriveState& s = drive.state();
      const double missing_J = s.supplied_J - (stored_J() - before_J) - s.dissipated_J;
      EXPECT_LT(std::abs(missing_J) / s.supplied_J, 1e-7) << loops << ' ' << cable_H;
      EXPECT_TRUE(seen[static_cast<int>(SupplyMode::current_limit)]);
      EXPECT_TRUE(seen[static_cast<int>(SupplyMode::blocked)]) << loops << ' ' << cable_H;
      EXPECT_EQ(drive.health().forced_steps, 0u);
    }
}

// The plant's inner loop watches its supply by straight lines over the bus; the general steps,
// which the ledger asks for, by the equations. A machine pushed and pulled by turns on a small
// link: the supply folds back, blocks, and a chopper burns what comes back. Tolerance: steps of 2
// us are a fiftieth of the link's fastest transient: 1e-9 of it each; moments of change are found
// to 1e-9.
TEST(BenchSupply, TheInnerLoopChangesItsModesWhereGeneralStepsDo) {
  plant::DriveParameters p = bench();
  p.supply.resistance_ohm = 0.5;
  p.supply.current_limit_A = 30.0;
  p.supply.fold_back_A = 15.0;
  p.machine.flux_linkage_Wb = 30e-3;
  p.supply.voltage_loop_Hz = p.supply.current_loop_Hz = 0.0;
  p.supply.cable_inductance_H = 0.0;
  p.dc_link = {200e-6, 10e-3};
  p.chopper = {.resistance_ohm = 2.0, .by_itself = true, .on_V = 52.0, .off_V = 50.0};
  p.step_max_s = 2e-6;
  plant::Drive glides(p), general(p);
  general.keep_ledger(true);
  double current_A = 0.0, bus_V = 0.0, peak_A = 0.0;
  int limits = 0, blocks = 0, brakes = 0, differs = 0;
  for (plant::Drive* drive : {&glides, &general}) {
    drive->start({100.0, 0.0, -1.0});
    drive->hold_speed_rad_s({100.0, 0.0});
  }
  for (int k = 0; k < 1000; ++k) {
    const double turned = 4.0 * 100.0 * 20e-6 * k, push = k / 250 % 2 == 0 ? 1.8 : -1.2;
    for (plant::Drive* drive : {&glides, &general}) {
      for (int leg = 0; leg < 3; ++leg) {
        const bool high =
            std::cos(turned + push - leg * plant::two_pi / 3.0) > 0.4 * ((k * 7) % 10 - 4.5);
        drive->set_switch(static_cast<Switch>(2 * leg + (high ? 1 : 0)), false);
        drive->set_switch(static_cast<Switch>(2 * leg + (high ? 0 : 1)), true);
      }
      advance_to(*drive, (k + 1) * ps(20e-6));
    }
    const plant::DriveState &s = glides.state(), &g = general.state();
    current_A = std::max(current_A, std::hypot(s.i_alpha_A - g.i_alpha_A, s.i_beta_A - g.i_beta_A));
    peak_A = std::max(peak_A, std::hypot(s.i_alpha_A, s.i_beta_A));
    bus_V = std::max(bus_V, std::abs(s.v_cap_V - g.v_cap_V));
    limits += s.supply_mode == SupplyMode::current_limit;
    blocks += s.supply_mode == SupplyMode::blocked;
    brakes += s.supply.chopper_on;
    differs += s.supply_mode != g.supply_mode || s.supply.chopper_on != g.supply.chopper_on;
  }
  EXPECT_GT(peak_A, 100.0);
  EXPECT_GT(limits, 50);
  EXPECT_GT(blocks, 50);
  EXPECT_GT(brakes, 20);
  EXPECT_EQ(differs, 0);
  EXPECT_LT(current_A, 1e-8 * peak_A);
  EXPECT_LT(bus_V, 1e-7);
}

}  // namespace
}  // namespace stillrotor::reference
