// A battery that follows its charge: v = OCV(z) - sum v_k - R i, tau_k dv_k/dt = R_k i - v_k.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/drive_setup.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {
namespace {

/// Two branches, 1000 As, 10 V between empty and full; the winding at rest is the load.
plant::DriveParameters packed() {
  plant::DriveParameters p;
  p.supply.resistance_ohm = 40e-3;
  p.supply.battery.open_circuit_V = {{0.0, 42.0}, {0.5, 48.0}, {1.0, 52.0}};
  p.supply.battery.capacity_C = 1000.0;
  p.supply.battery.charge = 0.75;
  p.supply.battery.branch[0] = {10e-3, 20e-3};
  p.supply.battery.branch[1] = {15e-3, 0.3};
  p.supply.voltage_V = 50.0;  // OCV(0.75)
  p.dc_link = {1e-3, 5e-3};
  p.machine.flux_linkage_Wb = 1e-3;
  return p;
}

void load_on(plant::Drive& drive) {
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
}

// A load so large against everything else that the current is constant to 1e-9: the open-circuit
// voltage flat, branches tiny against it; then v_k = R_k i (1 - exp(-t/tau_k)). Textbook.
// The load is 1.5 (R + R_on) = 150 ohm, L/R = 1 us; 1/150 of the branches' change feeds back.
TEST(Battery, BranchesRelaxExponentially) {
  plant::DriveParameters p = packed();
  p.supply.battery.open_circuit_V.clear();
  p.dc_link.capacitance_F = 10e-6;
  p.machine.winding_resistance_ohm = 1000.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 10e-3;
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  const double i = 50.0 / (1.5 * (1000.0 + 4e-3) + 40e-3);
  for (const double t : {5e-3, 20e-3, 60e-3}) {
    advance_to(drive, ps(t));
    // The winding (10 us) and the link (10 uF, 45 mohm: 0.45 us) delay the current. Tolerance: a
    // lag is not quite a delay, (10 us/20 ms)^2/2 = 1e-7; feedback of the branches on the current
    // 25e-3/1500 = 1.7e-5; what the link gives as they pull it down, C R_k/tau = 5e-6.
    for (int k = 0; k < 2; ++k) {
      const auto& b = p.supply.battery.branch[static_cast<std::size_t>(k)];
      const double expected = b.resistance_ohm * i * (1.0 - std::exp(-(t - 10.45e-6) / b.time_s));
      EXPECT_NEAR(drive.state().supply.battery.branch_V[k] / expected, 1.0, 3e-5) << t;
    }
  }
  // Load off: both fall with their own time constants, nothing flows.
  const double v0[2] = {drive.state().supply.battery.branch_V[0],
                        drive.state().supply.battery.branch_V[1]};
  only_on(drive, {});
  advance_by(drive, 5e-3);  // the diodes' current and the link have come to rest
  drive.set_supply_interrupted(true);
  const double v1[2] = {drive.state().supply.battery.branch_V[0],
                        drive.state().supply.battery.branch_V[1]};
  EXPECT_LT(v1[0], v0[0]);
  advance_by(drive, 30e-3);
  EXPECT_NEAR(drive.state().supply.battery.branch_V[0] / (v1[0] * std::exp(-1.5)), 1.0, 1e-12);
  EXPECT_NEAR(drive.state().supply.battery.branch_V[1] / (v1[1] * std::exp(-0.1)), 1.0, 1e-12);
}

// Discharging into a resistance along one straight stretch of the table: the cell is a capacitor of
// capacity / (dOCV/dz) = 1000 C / 8 V = 125 F, so the current falls exponentially with
// C (R_s + load) once the link and the winding (3 ms) are forgotten. Textbook.
TEST(Battery, OpenCircuitVoltageFollowsTheCharge) {
  plant::DriveParameters p = packed();
  p.supply.battery.branch = {};
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  const double loop = 40e-3 + 1.5 * (p.machine.winding_resistance_ohm + 4e-3);
  const double tau = 125.0 * loop;
  advance_to(drive, ps(0.1));
  const double i0 = drive.snapshot().supply_A, q0 = drive.state().supply.drawn_C;
  advance_to(drive, ps(0.6));
  // Tolerance: the winding lags by L/R of 3 ms and the link by 45 us in both readings alike: the
  // ratio keeps exp(-t/tau) with tau moved by 3 ms/tau: 2e-4 of 0.5 s/tau = 3 %.
  EXPECT_NEAR(drive.snapshot().supply_A / (i0 * std::exp(-0.5 / tau)), 1.0, 1e-5);
  const double q = drive.state().supply.drawn_C - q0;
  EXPECT_NEAR(q / (i0 * tau * (1.0 - std::exp(-0.5 / tau))), 1.0, 1e-5);
  EXPECT_NEAR(drive.state().supply.battery.charge, 0.75 - drive.state().supply.drawn_C / 1000.0,
              1e-12);
}

// Knots and ends of the table: between points a straight line, beyond the ends the last voltage.
// By hand: at 50 % 48 V; at 0 % and below 42 V.
TEST(Battery, StaysAtTheTablesEndWhenEmpty) {
  plant::DriveParameters p = packed();
  p.supply.battery.branch = {};
  p.supply.battery.capacity_C = 20.0;
  plant::Drive drive(p);
  drive.start();
  load_on(drive);
  advance_to(drive, ps(1.0));
  EXPECT_LT(drive.state().supply.battery.charge, 0.0);
  const double load = 1.5 * (p.machine.winding_resistance_ohm + 4e-3);
  EXPECT_NEAR(drive.snapshot().bus_V, 42.0 * load / (load + 40e-3), 1e-6);
}

// Series resistance at the pack's temperature: halfway between two points of the table, halfway.
TEST(Battery, ResistanceFollowsTheTemperature) {
  plant::DriveParameters p = packed();
  p.supply.battery.resistance_share = {{263.15, 2.0}, {293.15, 1.0}};
  p.supply.battery.temperature_K = 278.15;
  plant::Drive drive(p);
  EXPECT_DOUBLE_EQ(drive.state().source_ohm, 1.5 * 40e-3);
}

/// PWM with dead time into a free machine, as in energy_test.cpp, from the pack.
struct Books {
  double throughput_J, missing_J;
};
Books run(plant::DriveParameters p, double step_s) {
  p.machine.inductance_q_H = 250e-6;
  p.machine.winding_resistance_ohm = 0.2;
  p.machine.flux_linkage_Wb = 12e-3;
  p.step_max_s = step_s;
  const double w = plant::two_pi * 100.0;
  plant::Drive drive(p);
  drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
  drive.keep_ledger(true);
  const auto stored_J = [&] {
    const plant::Dq i = drive.snapshot().current_dq_A;
    const double v = drive.state().v_cap_V;
    double sum =
        0.5 * p.dc_link.capacitance_F * v * v +
        0.75 * (p.machine.inductance_d_H * i.d * i.d + p.machine.inductance_q_H * i.q * i.q) +
        0.5 * p.supply.cable_inductance_H * std::pow(drive.state().extra.i_cable_A, 2);
    for (int k = 0; k < plant::branch_count; ++k) {
      const auto& b = p.supply.battery.branch[static_cast<std::size_t>(k)];
      const double branch_V = drive.state().supply.battery.branch_V[k];
      if (b.resistance_ohm > 0.0) sum += 0.5 * b.time_s / b.resistance_ohm * branch_V * branch_V;
    }
    return sum;
  };
  const auto reference = [&](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = 0.6 * std::cos(w * t + 1.8 - k * plant::two_pi / 3.0);
    return r;
  };
  const auto edges = natural_pwm_edges({reference, 16e3, 1e-6}, 320);
  const double before_J = stored_J();
  replay(drive, edges, 0, ps(20e-3));
  const plant::DriveState& s = drive.state();
  EXPECT_EQ(drive.health().forced_steps, 0u);
  return {s.supplied_J, s.supplied_J - (stored_J() - before_J) - s.mechanical_J - s.dissipated_J};
}

// In = stored + mechanical + heat, branches and cable included; 1e-7 of the throughput.
TEST(Battery, EnergyBalances) {
  plant::DriveParameters p = packed();
  Books b = run(p, 2e-6);
  ASSERT_GT(b.throughput_J, 1.0);
  EXPECT_LT(std::abs(b.missing_J) / b.throughput_J, 1e-7);
  p.supply.cable_inductance_H = 2e-6;
  b = run(p, 1e-6);
  EXPECT_LT(std::abs(b.missing_J) / b.throughput_J, 1e-7);
}

}  // namespace
}  // namespace stillrotor::reference
