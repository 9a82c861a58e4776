// The induction machine behind the bridge: PWM of high frequency against the T circuit's phasors,
// the energy ledger, and what its terminals show when all switches turn off.
#include <gtest/gtest.h>

#include <complex>

#include "tests/reference/induction/model/machines.hpp"
#include "tests/reference/induction/model/saturating.hpp"
#include "tests/reference/induction/model/t_circuit.hpp"
#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

constexpr double bus_V = 400.0, frequency_Hz = 60.0, omega_e = plant::two_pi * frequency_Hz;
constexpr double carrier_Hz = 18e3;  // 300 a period of the fundamental
constexpr double peak_V = 179.6;     // 220 V line to line, rms

plant::DriveParameters inverter(const plant::InductionParameters& machine) {
  plant::DriveParameters p = stiff_drive();
  p.induction = machine;
  p.supply.voltage_V = bus_V;
  p.step_max_s = 5e-6;
  return p;
}

std::array<double, 3> sine(double t) {
  std::array<double, 3> r{};
  for (std::size_t k = 0; k < 3; ++k)
    r[k] = peak_V / (0.5 * bus_V) *
           std::cos(omega_e * t - static_cast<double>(k) * plant::two_pi / 3.0);
  return r;
}

// The fundamental of naturally sampled sine-triangle PWM is its reference exactly; the switches'
// 4 mohm stand in series with the stator. Slip 4 %. Tolerance: fundamental current 2e-5 (sidebands
// of the carrier that fall on it vanish as Bessel functions of order 300 / 2); mean torque 1e-4,
// for the ripple makes a little torque of its own.
TEST(InductionDrive, UnderPwmSettlesWhereTheEquivalentCircuitHasIt) {
  const KnownMachine& m = known_machines[0];
  plant::DriveParameters p = inverter(m.parameters());
  plant::InductionParameters seen = m.parameters();
  seen.stator_resistance_ohm += p.bridge.switch_on_resistance_ohm;
  const double slip = 0.04;
  const SteadyState expected = TCircuit(seen, peak_V * std::sqrt(1.5), frequency_Hz).at(slip);

  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, (1.0 - slip) * omega_e);
  const double settled_s = 2.0, period_s = 1.0 / frequency_Hz;
  const auto edges = natural_pwm_edges({sine, carrier_Hz, 0.0},
                                       static_cast<int>((settled_s + period_s) * carrier_Hz));
  std::size_t next = replay(drive, edges, 0, ps(settled_s));
  Integrals sums(drive, 3, [](double t, const plant::Snapshot& s, double* out) {
    const plant::AlphaBeta i = plant::clarke(s.current_A);
    const std::complex<double> turned =
        std::complex(i.alpha, i.beta) * std::polar(1.0, -omega_e * t);
    out[0] = turned.real();
    out[1] = turned.imag();
    out[2] = s.torque_Nm;
  });
  replay(drive, edges, next, ps(settled_s + period_s), &sums);
  const std::complex<double> current{sums.mean(0), sums.mean(1)};
  const std::complex<double> wanted = std::sqrt(2.0) * expected.stator_A;
  EXPECT_NEAR(std::abs(current - wanted) / std::abs(wanted), 0.0, 2e-5);
  EXPECT_NEAR(sums.mean(2) / expected.torque_Nm, 1.0, 1e-4);
}

// Free acceleration by PWM with dead time, straight and saturating branch: supplied = stored + work
// at the air gap + heat. Tolerance 1e-7 of the energy supplied.
TEST(InductionDrive, KeepsItsEnergyAccounts) {
  for (const bool saturates : {false, true}) {
    const plant::InductionParameters machine =
        saturates ? saturating(known_machines[0].parameters(), 40) : known_machines[0].parameters();
    plant::DriveParameters p = inverter(machine);
    p.dc_link = {.capacitance_F = 5e-3, .series_resistance_ohm = 5e-3};
    p.supply.resistance_ohm = 0.1;
    p.shaft.inertia_kg_m2 = 0.02;
    plant::Drive drive(p);
    drive.start();
    drive.keep_ledger(true);
    const auto stored = [&] {
      const plant::DriveState& s = drive.state();
      plant::Point y{};
      y.i_alpha = s.i_alpha_A;
      y.i_beta = s.i_beta_A;
      y.extra = s.extra;
      return plant::InductionMachine(machine).stored_J(y) +
             0.5 * p.dc_link.capacitance_F * s.v_cap_V * s.v_cap_V;
    };
    const double before_J = stored();
    replay(drive, natural_pwm_edges({sine, carrier_Hz, 1e-6}, 5400), 0, ps(0.3));
    const plant::DriveState& s = drive.state();
    EXPECT_GT(s.omega_m_rad_s, 100.0);
    EXPECT_GT(s.supplied_J, 100.0);
    EXPECT_LT(std::abs(s.supplied_J - (stored() - before_J) - s.mechanical_J - s.dissipated_J),
              1e-7 * s.supplied_J);
    EXPECT_NEAR(s.mechanical_J, 0.5 * p.shaft.inertia_kg_m2 * s.omega_m_rad_s * s.omega_m_rad_s,
                1e-7 * s.supplied_J);
    EXPECT_EQ(drive.health().forced_steps, 0U);
    EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  }
}

// All switches off at speed: the diodes take the stator's current within some milliseconds, then
// the cage's flux decays with (L_m + L_lr) / R_r and turns with the rotor. The voltage it induces
// in the open windings decays with it; by hand |e| = |j w - 1/T| k |psi_r|. Tolerance: RK4 at 5 us.
TEST(InductionDrive, ShowsTheDecayingFluxOfItsCageAtOpenTerminals) {
  const plant::InductionParameters m = known_machines[0].parameters();
  plant::Drive drive(inverter(m));
  drive.start();
  const double omega = 0.97 * omega_e;
  hold_electrical(drive, omega);
  replay(drive, natural_pwm_edges({sine, carrier_Hz, 0.0}, 7200), 0, ps(0.4));
  only_on(drive, {});
  advance_by(drive, 20e-3);
  const auto length = [&] {
    const plant::AlphaBeta e = plant::clarke(drive.snapshot().back_emf_V);
    return std::hypot(e.alpha, e.beta);
  };
  ASSERT_EQ(drive.state().i_alpha_A, 0.0);
  ASSERT_EQ(drive.state().i_beta_A, 0.0);
  const double before_V = length();
  EXPECT_GT(before_V, 100.0);
  const double k = m.magnetising_inductance_H / (m.magnetising_inductance_H + m.rotor_leakage_H);
  const double decay_s = (m.magnetising_inductance_H + m.rotor_leakage_H) / m.rotor_resistance_ohm;
  const plant::DriveState& s = drive.state();
  EXPECT_NEAR(before_V,
              std::hypot(omega, 1.0 / decay_s) * k * std::hypot(s.extra.inner[0], s.extra.inner[1]),
              1e-9 * before_V);
  const plant::Phases v = drive.snapshot().terminal_V;
  const plant::AlphaBeta seen = plant::clarke(v);
  EXPECT_NEAR(std::hypot(seen.alpha, seen.beta), before_V, 1e-9 * before_V);
  advance_by(drive, 50e-3);
  EXPECT_NEAR(length() / before_V, std::exp(-50e-3 / decay_s), 1e-9);
}

// A sensor edge is never missed: the plant's own forecast of quiet time holds while the machine
// accelerates from rest against an encoder.
TEST(InductionDrive, ForecastsItsSensorEdges) {
  plant::DriveParameters p = inverter(known_machines[0].parameters());
  p.shaft.inertia_kg_m2 = 0.005;
  p.encoder.fitted = true;
  p.encoder.lines = 1024;
  plant::Drive drive(p);
  drive.start();
  const auto edges = natural_pwm_edges({sine, carrier_Hz, 1e-6}, 1800);
  int seen = 0;
  for (const GateEdge& edge : edges) {
    while (drive.state().time_ps < edge.at_ps) {
      const std::int64_t now = drive.state().time_ps, quiet = drive.quiet_until(edge.at_ps);
      const plant::Drive::Stop stop = drive.advance(edge.at_ps);
      if (!stop.edge) break;
      ++seen;
      ASSERT_GE(drive.state().time_ps, quiet) << "forecast from " << now;
    }
    drive.set_switch(edge.gate, edge.on);
  }
  EXPECT_GT(seen, 500);
}

}  // namespace
}  // namespace stillrotor::reference
