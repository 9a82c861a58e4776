#include "tests/reference/benches/model/memories.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace stillrotor::reference {
namespace {

/// Of the cubic through the points, by powers of x from 0 to 1.
std::array<double, points> cubic(const Course& u) {
  // Newton's divided differences, multiplied out.
  Course d = u;
  for (int order = 1; order < points; ++order)
    for (int k = points - 1; k >= order; --k)
      d[static_cast<std::size_t>(k)] =
          (d[static_cast<std::size_t>(k)] - d[static_cast<std::size_t>(k - 1)]) /
          (point_at[static_cast<std::size_t>(k)] - point_at[static_cast<std::size_t>(k - order)]);
  const double a = point_at[1], b = point_at[2];
  return {d[0], d[1] - a * d[2] + a * b * d[3], d[2] - (a + b) * d[3], d[3]};
}

double value(const std::array<double, points>& c, double x) {
  return c[0] + x * (c[1] + x * (c[2] + x * c[3]));
}

}  // namespace

double lagged(double y, const Course& u, double length_s, double tau_s) {
  const double x = length_s / tau_s;
  if (x < 1.0) {
    double sum = y * std::exp(-x);
    for (std::size_t k = 0; k < points; ++k)
      sum += x * point_weight[k] * std::exp(-x * (1.0 - point_at[k])) * u[k];
    return sum;
  }
  const std::array<double, points> c = cubic(u);
  const auto particular = [&](double at) {
    const double slope = c[1] + at * (2.0 * c[2] + at * 3.0 * c[3]);
    const double bend = 2.0 * c[2] + 6.0 * at * c[3], twist = 6.0 * c[3];
    return value(c, at) - (slope - (bend - twist / x) / x) / x;
  };
  return particular(1.0) + (y - particular(0.0)) * std::exp(-x);
}

CurrentMemory::CurrentMemory(const plant::CurrentSensorParameters& par, std::size_t element)
    : par_(par),
      slew_A_per_s_(par.slew_V_per_s / par.gain_V_per_A[element]),
      tau_s_(1.0 / (2.0 * std::numbers::pi * par.bandwidth_Hz)) {}

void CurrentMemory::pass(const Course& at_sensor_A, double length_s) {
  const double half = 0.5 * par_.hysteresis_A;
  const auto played = [&](double a) { return std::clamp(played_A_, a - half, a + half); };
  const auto bent = [&](double a) {
    const double share = a / par_.full_scale_A;
    return a * (1.0 - par_.compression * share * share);
  };
  if (half <= 0.0 && slew_A_per_s_ <= 0.0) {
    Course u;
    for (std::size_t k = 0; k < points; ++k) u[k] = bent(at_sensor_A[k]);
    output_A_ = lagged(output_A_, u, length_s, tau_s_);
    return;
  }
  // Play and a slew limit have corners: small steps, midpoint by midpoint.
  const std::array<double, points> c = cubic(at_sensor_A);
  const int steps = 1 + static_cast<int>(length_s / std::min(20e-9, 0.1 * tau_s_));
  const double h = length_s / steps;
  const auto rate = [&](double u, double y) {
    const double free = (u - y) / tau_s_;
    return slew_A_per_s_ > 0.0 ? std::clamp(free, -slew_A_per_s_, slew_A_per_s_) : free;
  };
  for (int n = 0; n < steps; ++n) {
    double u[3];
    for (int k = 0; k < 3; ++k) {
      played_A_ = played(value(c, (n + 0.5 * k) / steps));
      u[k] = bent(played_A_);
    }
    const double k1 = rate(u[0], output_A_), k2 = rate(u[1], output_A_ + 0.5 * h * k1),
                 k3 = rate(u[1], output_A_ + 0.5 * h * k2), k4 = rate(u[2], output_A_ + h * k3);
    output_A_ += h / 6.0 * (k1 + 2.0 * (k2 + k3) + k4);
  }
}

}  // namespace stillrotor::reference
