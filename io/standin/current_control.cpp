#include "io/standin/current_control.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io::standin {

CurrentControl::CurrentControl(const WindingBelief& winding, double bandwidth_Hz,
                               double period_s) noexcept
    : winding_(winding),
      gain_d_(2.0 * pi * bandwidth_Hz * winding.inductance_d_H),
      gain_q_(2.0 * pi * bandwidth_Hz * winding.inductance_q_H),
      integral_step_(2.0 * pi * bandwidth_Hz * winding.resistance_ohm * period_s),
      follow_d_(std::min(1.0, integral_step_ / gain_d_)),
      follow_q_(std::min(1.0, integral_step_ / gain_q_)) {}

Vector CurrentControl::step(Vector wanted_A, Vector measured_A, double omega_e_rad_s,
                            double limit_V) noexcept {
  const double error_d = wanted_A.x - measured_A.x, error_q = wanted_A.y - measured_A.y;
  integral_V_.x += integral_step_ * error_d;
  integral_V_.y += integral_step_ * error_q;
  Vector v{
      gain_d_ * error_d + integral_V_.x - omega_e_rad_s * winding_.inductance_q_H * measured_A.y,
      gain_q_ * error_q + integral_V_.y +
          omega_e_rad_s * (winding_.inductance_d_H * measured_A.x + winding_.flux_linkage_Wb)};
  const double square = v.x * v.x + v.y * v.y;
  demand_V_ = std::sqrt(square);
  if (square > limit_V * limit_V) {
    const double keep = limit_V / demand_V_;
    const Vector limited{keep * v.x, keep * v.y};
    integral_V_.x += follow_d_ * (limited.x - v.x);
    integral_V_.y += follow_q_ * (limited.y - v.y);
    v = limited;
  }
  return v;
}

Vector most_torque_per_ampere(double length_A, const WindingBelief& w) noexcept {
  const double saliency = w.inductance_q_H - w.inductance_d_H;
  const double square = length_A * length_A;
  if (std::abs(saliency) * std::abs(length_A) < 1e-6 * w.flux_linkage_Wb) return {0.0, length_A};
  const double psi = w.flux_linkage_Wb;
  const double d =
      (psi - std::sqrt(psi * psi + 8.0 * saliency * saliency * square)) / (4.0 * saliency);
  return {d, std::copysign(std::sqrt(square - d * d), length_A)};
}

ThreePhases duties(Vector stator_V, double bus_V) noexcept {
  const ThreePhases v = to_phases(stator_V);
  const double middle = 0.5 * (std::max({v.u, v.v, v.w}) + std::min({v.u, v.v, v.w}));
  const double per_volt = 1.0 / bus_V;
  return {0.5 + per_volt * (v.u - middle), 0.5 + per_volt * (v.v - middle),
          0.5 + per_volt * (v.w - middle)};
}

}  // namespace stillrotor::io::standin
