// Free acceleration from rest on the mains: the plant's law against the machine in six turning
// coils, integrated by CVODE, and against what the circuit's phasors say about beginning and end.
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/reference/induction/model/machines.hpp"
#include "tests/reference/induction/model/on_voltage.hpp"
#include "tests/reference/induction/model/t_circuit.hpp"
#include "tests/reference/induction/model/three_phase_machine.hpp"

namespace stillrotor::reference {
namespace {

Eigen::Vector3d phases_of(Vector v) {
  const plant::Phases p = plant::phases({v.real(), v.imag()});
  return {p.U, p.V, p.W};
}

class FreeAcceleration : public ::testing::TestWithParam<KnownMachine> {
 protected:
  const KnownMachine& m = GetParam();
  TCircuit circuit{m.parameters(), m.line_to_line_V, m.frequency_Hz};
  /// Rated phase current, peak: of the rated power at power factor one.
  double rated_A() const { return std::sqrt(2.0 / 3.0) * m.power_hp * 745.7 / m.line_to_line_V; }
  /// To the no-load speed: kinetic energy over a mean torque of a fifth of the breakdown's.
  double run_up_s() const {
    return m.inertia_kg_m2 * circuit.synchronous_rad_s() / (0.2 * circuit.breakdown_Nm());
  }
};
INSTANTIATE_TEST_SUITE_P(All, FreeAcceleration, ::testing::ValuesIn(known_machines),
                         [](const auto& row) { return row.param.name; });

// From rest through inrush and up the torque curve.
// Tolerance 1e-8 of the rated current; CVODE at 1e-12 and RK4 at 10 us left 2e-10.
TEST_P(FreeAcceleration, GoesTheWayOfSixTurningCoils) {
  const auto voltage = mains(m.line_to_line_V, m.frequency_Hz);
  OnVoltage plant(m.parameters(), {.inertia_kg_m2 = 0.2 * m.inertia_kg_m2});
  const ThreePhaseMachine coils(m.parameters(), 0.2 * m.inertia_kg_m2);
  double worst_A = 0.0, worst_Nm = 0.0, worst_rad_s = 0.0;
  const auto compare = [&](double t, const ThreePhaseState& x) {
    plant.advance(voltage, t, 10e-6);
    const Eigen::Vector3d i = phases_of(plant.current_A());
    worst_A = std::max(worst_A, (coils.currents_A(x).head<3>() - i).cwiseAbs().maxCoeff());
    worst_Nm = std::max(worst_Nm, std::abs(coils.torque_Nm(x) - plant.torque_Nm()));
    worst_rad_s = std::max(worst_rad_s, std::abs(x.omega_m_rad_s - plant.omega_m_rad_s()));
  };
  run(coils, {[&](double t) { return phases_of(voltage(t)); }, 1e-3, 0.4, 1e-12}, compare);
  EXPECT_GT(plant.omega_m_rad_s(), 1.0);
  EXPECT_LT(worst_A, 1e-8 * rated_A());
  EXPECT_LT(worst_Nm, 1e-8 * circuit.breakdown_Nm());
  EXPECT_LT(worst_rad_s, 1e-8 * circuit.synchronous_rad_s());
}

// What the equations promise whatever the integrator: the torque swings at the network's frequency
// far beyond the locked torque of the phasors at first; without load it all ends at synchronous
// speed with the magnetising current. On the way the two large machines, whose rotors hardly damp,
// run past synchronous speed and the two small ones do not (source: the same textbook's figures of
// free acceleration, from memory).
TEST_P(FreeAcceleration, EndsAtSynchronousSpeedWithTheMagnetisingCurrent) {
  const auto voltage = mains(m.line_to_line_V, m.frequency_Hz);
  OnVoltage plant(m.parameters(), {.inertia_kg_m2 = m.inertia_kg_m2});
  double first_torque_Nm = 0.0, top_rad_s = 0.0;
  plant.after_step = [&] {
    if (plant.time_s() < 0.05) first_torque_Nm = std::max(first_torque_Nm, plant.torque_Nm());
    top_rad_s = std::max(top_rad_s, plant.omega_m_rad_s());
  };
  plant.advance(voltage, run_up_s() + 8.0, 50e-6);
  const double synchronous = circuit.synchronous_rad_s();
  EXPECT_GT(first_torque_Nm, 1.5 * circuit.at(1.0).torque_Nm);
  if (m.power_hp > 100)
    EXPECT_GT(top_rad_s, 1.002 * synchronous);
  else
    EXPECT_LT(top_rad_s, 1.0001 * synchronous);
  EXPECT_NEAR(plant.omega_m_rad_s(), synchronous, 1e-5 * synchronous);
  EXPECT_NEAR(std::abs(plant.current_A()) / std::sqrt(2.0), std::abs(circuit.at(1e-9).stator_A),
              1e-4 * std::abs(circuit.at(1.0).stator_A));
}

// Sixty times the inertia: the torque follows the curve of the phasors through the breakdown,
// within what the slow passage allows. Tolerance 3 % of the breakdown torque.
TEST_P(FreeAcceleration, FollowsTheSteadyCurveWhenItIsSlow) {
  const auto voltage = mains(m.line_to_line_V, m.frequency_Hz);
  OnVoltage plant(m.parameters(), {.inertia_kg_m2 = 60.0 * m.inertia_kg_m2});
  double worst = 0.0;
  int seen = 0;
  plant.after_step = [&] {
    const double slip = 1.0 - plant.omega_m_rad_s() / circuit.synchronous_rad_s();
    if (slip > 0.5 || slip < 0.02) return;
    ++seen;
    worst = std::max(worst, std::abs(plant.torque_Nm() - circuit.at(slip).torque_Nm));
  };
  plant.advance(voltage, 60.0 * run_up_s(), 100e-6);
  EXPECT_GT(seen, 1000);
  EXPECT_LT(worst, 0.03 * circuit.breakdown_Nm());
}

}  // namespace
}  // namespace stillrotor::reference
