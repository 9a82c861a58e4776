// Energy: what the terminals take is stored, does work at the air gap, or becomes heat in stator
// and cage; with the straight and with the saturating branch.
#include <gtest/gtest.h>

#include "tests/reference/induction/model/machines.hpp"
#include "tests/reference/induction/model/on_voltage.hpp"
#include "tests/reference/induction/model/saturating.hpp"

namespace stillrotor::reference {
namespace {

/// Free acceleration from rest on 1.2 of the rated voltage: inrush, saturation, then no load.
double missing_share(const plant::InductionParameters& p, double step_s) {
  const KnownMachine& m = known_machines[0];
  OnVoltage machine(p, {.inertia_kg_m2 = 0.3 * m.inertia_kg_m2, .load_Nm = 2.0});
  machine.advance(mains(1.2 * m.line_to_line_V, m.frequency_Hz), 0.4, step_s);
  EXPECT_GT(machine.omega_m_rad_s(), 100.0);
  EXPECT_GT(machine.stored_J(), 1.0);
  return std::abs(machine.supplied_J() - machine.stored_J() - machine.mechanical_J() -
                  machine.heat_J()) /
         machine.supplied_J();
}

// Tolerance 1e-7 of the energy supplied; halving the step makes it at least 2^4 smaller or
// rounding.
TEST(InductionEnergy, BalancesWithAStraightBranch) {
  EXPECT_LT(missing_share(known_machines[0].parameters(), 20e-6), 1e-8);
}

TEST(InductionEnergy, BalancesWithASaturatingBranch) {
  EXPECT_LT(missing_share(saturating(known_machines[0].parameters(), 40), 20e-6), 1e-8);
}

// What the terminals see at once is the law's inductance: at standstill, flux frozen, i rises by
// v / L. Straight branch, by hand: L_ls + L_lr L_m / (L_lr + L_m). Tolerance: rounding.
TEST(InductionLaw, ShowsItsTransientInductance) {
  const plant::InductionParameters p = known_machines[0].parameters();
  OnVoltage machine(p, {});
  const double parallel = p.rotor_leakage_H * p.magnetising_inductance_H /
                          (p.rotor_leakage_H + p.magnetising_inductance_H);
  EXPECT_NEAR(machine.law().l_aa_H, p.stator_leakage_H + parallel, 1e-15);
  EXPECT_NEAR(machine.law().l_bb_H, p.stator_leakage_H + parallel, 1e-15);
  EXPECT_EQ(machine.law().l_ab_H, 0.0);
}

// Leakage all on the stator's side (rotor leakage 0) is the same machine when the T circuit is
// referred to the rotor's flux: L_sigma = L_ls + L_m L_lr / (L_m + L_lr), k = L_m / (L_m + L_lr),
// R_r k^2, L_m k. Source: textbook (inverse gamma circuit), from memory. Tolerance: two roundings
// over 20,000 steps.
TEST(InductionLaw, IsTheSameMachineWithItsLeakageReferredToTheStator) {
  const KnownMachine& m = known_machines[0];
  const plant::InductionParameters t = m.parameters();
  const double k = t.magnetising_inductance_H / (t.magnetising_inductance_H + t.rotor_leakage_H);
  plant::InductionParameters gamma = t;
  gamma.stator_leakage_H = t.stator_leakage_H + k * t.rotor_leakage_H;
  gamma.rotor_leakage_H = 0.0;
  gamma.rotor_resistance_ohm = k * k * t.rotor_resistance_ohm;
  gamma.magnetising_inductance_H = k * t.magnetising_inductance_H;
  OnVoltage a(t, {.inertia_kg_m2 = 0.03}), b(gamma, {.inertia_kg_m2 = 0.03});
  const auto voltage = mains(m.line_to_line_V, m.frequency_Hz);
  a.advance(voltage, 0.4, 20e-6);
  b.advance(voltage, 0.4, 20e-6);
  EXPECT_NEAR(std::abs(a.current_A() - b.current_A()), 0.0, 1e-9);
  EXPECT_NEAR(a.omega_m_rad_s(), b.omega_m_rad_s(), 1e-9);
}

}  // namespace
}  // namespace stillrotor::reference
