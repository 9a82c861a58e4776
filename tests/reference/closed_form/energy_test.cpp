// Energy: what the supply gives is stored, does work at the air gap, or becomes heat.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

/// 1/2 C v^2 plus 3/2 * 1/2 (L_d i_d^2 + L_q i_q^2): amplitude-invariant dq, hence the 3/2.
double stored_J(const plant::Drive& drive) {
  const auto& p = drive.parameters();
  const plant::Dq i = drive.snapshot().current_dq_A;
  const double v = drive.state().v_cap_V;
  return 0.5 * p.dc_link.capacitance_F * v * v +
         0.75 * (p.machine.inductance_d_H * i.d * i.d + p.machine.inductance_q_H * i.q * i.q);
}

struct Books {
  double supplied_J, missing_J, kinetic_missing_J, ledger_difference_J;
};

/// 20 ms of PWM with dead time into a salient machine with a free rotor, started at the speed of
/// its field; diodes conduct in every dead time.
Books run(double step_s, plant::SupplyKind kind) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.winding_resistance_ohm = 0.2;
  p.supply.kind = kind;
  p.supply.current_limit_A = 15.0;
  p.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  p.step_max_s = step_s;
  const double w = plant::two_pi * 100.0;
  plant::Drive drive(p);
  drive.start({w / p.machine.pole_pairs, 0.0, -1.0});
  drive.keep_ledger(true);
  const auto reference = [&](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = 0.6 * std::cos(w * t + 1.8 - k * plant::two_pi / 3.0);
    return r;
  };
  const auto edges = natural_pwm_edges({reference, 16e3, 1e-6}, 320);
  const double before_J = stored_J(drive), omega_0 = drive.state().omega_m_rad_s;
  Integrals sums(drive, 3, [&](double, const plant::Snapshot& s, double* out) {
    out[0] = p.supply.voltage_V * s.supply_A;
    out[1] = s.torque_Nm * s.omega_m_rad_s;
    out[2] = p.shaft.viscous_friction_Nm_s_per_rad * s.omega_m_rad_s * s.omega_m_rad_s;
  });
  replay(drive, edges, 0, ps(20e-3), &sums);
  const plant::DriveState& s = drive.state();
  const double omega_1 = s.omega_m_rad_s;
  const double kinetic_J = 0.5 * p.shaft.inertia_kg_m2 * (omega_1 * omega_1 - omega_0 * omega_0);
  return {s.supplied_J,
          s.supplied_J - (stored_J(drive) - before_J) - s.mechanical_J - s.dissipated_J,
          s.mechanical_J - kinetic_J - sums.integral(2),
          std::abs(s.supplied_J - sums.integral(0)) + std::abs(s.mechanical_J - sums.integral(1))};
}

// Tolerance: 6e-7 of the energy at 5 us; fourth order makes 1 us 625 times better: 1e-9.
TEST(Energy, BalancesWithinAMillionthAtFiveMicroseconds) {
  for (const auto kind : {plant::SupplyKind::battery, plant::SupplyKind::bench_supply}) {
    const Books b = run(5e-6, kind);
    ASSERT_GT(b.supplied_J, 1.0);
    EXPECT_LT(std::abs(b.missing_J) / b.supplied_J, 6e-7);
    EXPECT_LT(std::abs(b.kinetic_missing_J) / b.supplied_J, 6e-7);
  }
}

TEST(Energy, BalancesWithinABillionthAtOneMicrosecond) {
  for (const auto kind : {plant::SupplyKind::battery, plant::SupplyKind::bench_supply}) {
    const Books b = run(1e-6, kind);
    EXPECT_LT(std::abs(b.missing_J) / b.supplied_J, 1e-9);
    EXPECT_LT(std::abs(b.kinetic_missing_J) / b.supplied_J, 1e-9);
  }
}

// The ledger's own accounts against Gauss-Legendre integrals of V i and T omega over the steps.
TEST(Energy, LedgerAgreesWithIntegralsOfPower) {
  const Books b = run(1e-6, plant::SupplyKind::battery);
  EXPECT_LT(b.ledger_difference_J / b.supplied_J, 1e-9);
}

// Every joule of a stopped machine becomes heat in the end: 60 A in a shorted winding at rest, gone
// after 20 time constants. By hand: 0.75 * 150 uH * 3600 A^2 = 0.405 J.
TEST(Energy, OfADecayingCurrentBecomesHeat) {
  plant::Drive drive(stiff_drive());
  drive.start();
  hold_electrical(drive, 0.0);
  place(drive, 0.0, {60.0, 0.0});
  drive.keep_ledger(true);
  advance_by(drive, 20.0 * 150e-6 / 54e-3);
  EXPECT_NEAR(drive.state().dissipated_J, 0.405, 1e-10);
  EXPECT_NEAR(drive.state().supplied_J, 0.0, 1e-12);
}

}  // namespace
}  // namespace stillrotor::reference
