#include "tests/reference/ngspice/model/drives.hpp"

#include <array>
#include <cmath>
#include <numbers>

namespace stillrotor::reference {
namespace {

using std::numbers::pi;

SpiceExperiment drive_at(double electrical_Hz, double start_theta_e_rad) {
  SpiceExperiment e;
  e.parameters.step_max_s = 5e-6;
  e.start_omega_m_rad_s = 2.0 * pi * electrical_Hz / e.parameters.machine.pole_pairs;
  e.start_theta_e_rad = start_theta_e_rad;
  return e;
}

}  // namespace

SpiceExperiment sine_pwm() {
  constexpr double electrical_Hz = 200.0, start_rad = 0.3;
  SpiceExperiment e = drive_at(electrical_Hz, start_rad);
  const auto& m = e.parameters.machine;
  const double omega_e = 2.0 * pi * electrical_Hz;
  // 20 A on the q axis: v_d = -omega L i_q, v_q = R i_q + omega psi.
  const double v_d = -omega_e * m.inductance_q_H * 20.0;
  const double v_q = m.winding_resistance_ohm * 20.0 + omega_e * m.flux_linkage_Wb;
  const double depth = std::hypot(v_d, v_q) / (0.5 * e.parameters.supply.voltage_V);
  const double lead_rad = std::atan2(v_q, v_d);
  NaturalPwm pwm;
  pwm.dead_time_s = 1e-6;
  pwm.reference = [=](double t_s) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] =
          depth * std::cos(start_rad + lead_rad + omega_e * t_s - 2.0 * pi * k / 3.0);
    return r;
  };
  e.lasts_s = 10e-3;
  e.edges = natural_pwm_edges(pwm, 200);
  return e;
}

SpiceExperiment six_step() {
  constexpr double electrical_Hz = 150.0, start_rad = 0.3, pwm_Hz = 16e3, duty = 0.5;
  SpiceExperiment e = drive_at(electrical_Hz, start_rad);
  e.parameters.machine.back_emf = plant::trapezoid_harmonics(120.0, 13);
  e.lasts_s = 10e-3;
  // Current vectors at 30 + 60 m degrees: (high leg, low leg).
  constexpr std::array<int, 6> high_leg = {0, 1, 1, 2, 2, 0}, low_leg = {2, 2, 0, 0, 1, 1};
  std::array<bool, plant::switch_count> on = {};
  const auto want = [&](double at_s, std::array<bool, plant::switch_count> next) {
    for (std::size_t k = 0; k < on.size(); ++k)
      if (next[k] != on[k]) e.edges.push_back({ps(at_s), static_cast<Switch>(k), next[k]});
    on = next;
  };
  for (int n = 0; n < static_cast<int>(e.lasts_s * pwm_Hz); ++n) {
    const double begin_s = n / pwm_Hz;
    const double q_deg = (start_rad + 2.0 * pi * electrical_Hz * begin_s) * 180.0 / pi + 90.0;
    const auto m = static_cast<std::size_t>(std::lround((q_deg - 30.0) / 60.0) % 6);
    std::array<bool, plant::switch_count> next = {};
    next[static_cast<std::size_t>(2 * low_leg[m] + 1)] = true;
    next[static_cast<std::size_t>(2 * high_leg[m])] = true;
    want(begin_s, next);
    next[static_cast<std::size_t>(2 * high_leg[m])] = false;
    want(begin_s + duty / pwm_Hz, next);
  }
  sort_edges(e.edges);
  return e;
}

SpiceExperiment coast_down() {
  SpiceExperiment e = drive_at(600.0, 0.3);
  e.speed_held = false;
  e.parameters.shaft.inertia_kg_m2 = 2e-4;
  e.parameters.shaft.viscous_friction_Nm_s_per_rad = 1e-4;
  e.parameters.shaft.coulomb_friction_Nm = 0.05;
  e.lasts_s = 30e-3;
  return e;
}

}  // namespace stillrotor::reference
