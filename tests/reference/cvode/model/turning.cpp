#include "tests/reference/cvode/model/turning.hpp"

#include <cmath>
#include <numbers>

namespace stillrotor::reference {

double Turning::cogging_Nm(const AbcState& x) const {
  double torque = 0.0;
  for (const auto& h : machine_.cogging)
    torque += h.amplitude_Nm * std::sin(h.order * x.theta_e_rad / pole_pairs_ + h.phase_rad);
  return torque;
}

double Turning::iron_Nm(const AbcState& x, double linkage_Wb) const {
  const auto& iron = machine_.iron_loss;
  if (iron.reference_W <= 0.0) return 0.0;
  // P / omega, its hysteresis smoothed at standstill.
  const double reference =
      2.0 * std::numbers::pi * iron.reference_frequency_Hz / pole_pairs_;  // rad/s
  const double part = x.omega_m_rad_s / reference,
               saturation = linkage_Wb / machine_.flux_linkage_Wb;
  const double sense = std::sqrt(1.0001) * part / std::sqrt(part * part + 1e-4);
  return iron.reference_W / reference * saturation * saturation *
         (iron.hysteresis_share * sense + (1.0 - iron.hysteresis_share) * part);
}

double Turning::load_Nm(double omega_2, const AbcState& x, const AbcInputs& in) const {
  const double lever_m = s_.wheel_radius_m / s_.gear_ratio, v = omega_2 * lever_m;
  const double weight_N = s_.cart_mass_kg * 9.80665;
  return in.load_Nm + in.load_Nm_per_s * x.time_s + s_.constant_torque_Nm +
         s_.quadratic_drag_Nm_s2_per_rad2 * omega_2 * std::abs(omega_2) +
         0.5 * s_.air_density_kg_m3 * s_.drag_area_m2 * v * std::abs(v) * lever_m +
         std::copysign(s_.rolling_resistance * weight_N * lever_m + s_.static_torque_Nm, omega_2);
}

double Turning::tyre_Nm(double omega, double omega_2) const {
  const double lever_m = s_.wheel_radius_m / s_.gear_ratio;
  const double slip =
      (omega - omega_2) * lever_m / std::hypot(omega_2 * lever_m, s_.slip_floor_m_s);
  const double c = 2.0 - 2.0 / std::numbers::pi * std::asin(s_.slide_friction / s_.peak_friction);
  const double b = std::tan(std::numbers::pi / (2.0 * c)) / s_.peak_slip;
  const double mu = s_.peak_friction * std::sin(c * std::atan(b * slip));
  return mu * s_.driven_weight_share * s_.cart_mass_kg * 9.80665 * lever_m;
}

void Turning::rates(const AbcState& x, const AbcInputs& in, const AbcModes& modes, double torque_Nm,
                    double linkage_Wb, AbcRates& out) const {
  const double omega = x.omega_m_rad_s;
  const double lever_m = s_.wheel_radius_m / s_.gear_ratio;
  const double wheel = s_.load_inertia_kg_m2 / (s_.gear_ratio * s_.gear_ratio),
               cart = s_.cart_mass_kg * lever_m * lever_m;
  const bool tyre = s_.coupling == plant::Coupling::slipping;
  const double inertia = s_.inertia_kg_m2 + (tyre ? wheel : 0.0),
               inertia_2 = cart + (tyre ? 0.0 : wheel);
  const double g = modes.gear_drives ? 1.0 / s_.gear_efficiency : s_.gear_efficiency;
  const double own = torque_Nm + cogging_Nm(x) - iron_Nm(x, linkage_Wb) -
                     s_.viscous_friction_Nm_s_per_rad * omega -
                     std::copysign(s_.coulomb_friction_Nm, omega);
  double& rate = out.state.omega_m_rad_s;
  double through_Nm = 0.0;
  if (two_speeds()) {
    through_Nm = tyre ? tyre_Nm(omega, x.omega_2_rad_s)
                      : s_.stiffness_Nm_per_rad * x.twist_rad +
                            s_.torsion_damping_Nm_s_per_rad * (omega - x.omega_2_rad_s);
    rate = in.speed_held ? in.held_acceleration_rad_s2 : (own - g * through_Nm) / inertia;
    out.state.omega_2_rad_s = (through_Nm - load_Nm(x.omega_2_rad_s, x, in)) / inertia_2;
    out.state.twist_rad = omega - x.omega_2_rad_s;
  } else {
    const double load = load_Nm(omega, x, in);
    rate =
        in.speed_held ? in.held_acceleration_rad_s2 : (own - g * load) / (inertia + g * inertia_2);
    through_Nm = load + inertia_2 * rate;
  }
  out.through_W = through_Nm * omega;
}

}  // namespace stillrotor::reference
