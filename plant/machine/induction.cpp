#include "plant/machine/induction.hpp"

#include <stdexcept>
#include <string>

namespace stillrotor::plant {
namespace {

const InductionParameters& checked(const InductionParameters& m) {
  const auto require = [](bool good, const char* name, double value, const char* allowed) {
    if (!good || !std::isfinite(value))
      throw std::invalid_argument(std::string(name) + " is " + std::to_string(value) +
                                  "; allowed " + allowed + ".");
  };
  require(m.pole_pairs >= 1 && m.pole_pairs <= 64, "machine.pole_pairs", m.pole_pairs, "1 to 64");
  require(m.stator_resistance_ohm > 0.0, "machine.stator_resistance", m.stator_resistance_ohm,
          "above 0");
  require(m.rotor_resistance_ohm > 0.0, "machine.rotor_resistance", m.rotor_resistance_ohm,
          "above 0");
  require(m.stator_leakage_H > 0.0, "machine.stator_leakage", m.stator_leakage_H, "above 0");
  require(m.rotor_leakage_H >= 0.0, "machine.rotor_leakage", m.rotor_leakage_H, "0 or more");
  if (m.magnetising_curve.empty())
    require(m.magnetising_inductance_H > 0.0, "machine.magnetising_inductance",
            m.magnetising_inductance_H, "above 0");
  return m;
}

MachineCondition condition(const InductionParameters& m) {
  MachineCondition c;
  for (double& r : c.winding_ohm) r = m.stator_resistance_ohm;
  c.rotor_ohm = m.rotor_resistance_ohm;
  return c;
}

}  // namespace

InductionMachine::InductionMachine(const InductionParameters& m)
    : pole_pairs_(checked(m).pole_pairs),
      l_ls_(m.stator_leakage_H),
      l_lr_(m.rotor_leakage_H),
      as_new_(condition(m)),
      curve_(m.magnetising_curve.empty()
                 ? MagnetisingCurve(m.magnetising_inductance_H, m.rotor_leakage_H)
                 : MagnetisingCurve(m.magnetising_curve, m.rotor_leakage_H)) {}

// Of the branch: integral of i_m over psi_m = integral of h over g less 1/2 L_lr h^2.
double InductionMachine::stored_J(const Point& y) const noexcept {
  const double g_a = y.extra.inner[0] + l_lr_ * y.i_alpha;
  const double g_b = y.extra.inner[1] + l_lr_ * y.i_beta;
  const Branch m = branch(g_a, g_b);
  const double i_r_a = m.across * g_a - y.i_alpha, i_r_b = m.across * g_b - y.i_beta;
  const MagnetisingCurve::Value h = curve_.at(std::sqrt(g_a * g_a + g_b * g_b));
  return 1.5 * (0.5 * l_ls_ * (y.i_alpha * y.i_alpha + y.i_beta * y.i_beta) +
                0.5 * l_lr_ * (i_r_a * i_r_a + i_r_b * i_r_b) + h.integral_J -
                0.5 * l_lr_ * h.current_A * h.current_A);
}

// The rotor's flux grows by no more than R_r |i_r|, |i_r| <= |i_m| + |i_s|; twice that, because the
// magnetising current grows with it.
double InductionMachine::torque_bound_Nm(const Point& y, double i_A, double span_s,
                                         const MachineCondition& now) const noexcept {
  const double g = std::hypot(y.extra.inner[0], y.extra.inner[1]) + l_lr_ * i_A;
  const double grown = g + 2.0 * span_s * now.rotor_ohm * (curve_.at(g).current_A + i_A);
  return 1.5 * pole_pairs_ * grown * i_A;
}

double InductionMachine::back_bound_V(const Point& y, double i_A,
                                      const MachineCondition& now) const noexcept {
  const double psi_r = std::hypot(y.extra.inner[0], y.extra.inner[1]);
  const double i_r_A = curve_.at(psi_r + l_lr_ * i_A).current_A + i_A;
  return pole_pairs_ * std::abs(y.omega) * psi_r + now.rotor_ohm * i_r_A;
}

}  // namespace stillrotor::plant
