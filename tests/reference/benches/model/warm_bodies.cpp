#include "tests/reference/benches/model/warm_bodies.hpp"

#include <algorithm>
#include <cmath>
#include <unsupported/Eigen/MatrixFunctions>

namespace stillrotor::reference {

WarmBodies::WarmBodies(const plant::ThermalParameters& p)
    : ambient_K(p.ambient_K), p_(p), body_K_(Eigen::Vector4d::Constant(p.ambient_K)) {}

void WarmBodies::tick(const GatheredHeat& in) {
  constexpr double tick_s = 1e-12 * static_cast<double>(tick_ps);
  const double C[4] = {p_.winding_capacity_J_per_K, p_.magnet_capacity_J_per_K,
                       p_.housing_capacity_J_per_K, p_.heatsink_capacity_J_per_K};
  const double heat_J[4] = {in.winding_J, in.magnet_J, in.housing_J,
                            in.leg_J[0] + in.leg_J[1] + in.leg_J[2]};
  // d/dt (T, 1): paths between bodies, and what comes from outside in the last column.
  Eigen::Matrix<double, 5, 5> rate = Eigen::Matrix<double, 5, 5>::Zero();
  const auto path = [&](int a, int b, double K_per_W) {
    rate(a, a) -= 1.0 / (K_per_W * C[a]);
    rate(a, b) += 1.0 / (K_per_W * C[a]);
    rate(b, b) -= 1.0 / (K_per_W * C[b]);
    rate(b, a) += 1.0 / (K_per_W * C[b]);
  };
  const auto outside = [&](int a, double K_per_W) {
    rate(a, a) -= 1.0 / (K_per_W * C[a]);
    rate(a, 4) += ambient_K / (K_per_W * C[a]);
  };
  path(0, 2, p_.winding_to_housing_K_per_W);
  path(1, 2, p_.magnet_to_housing_K_per_W);
  outside(2, p_.housing_to_ambient_K_per_W);
  outside(3, p_.heatsink_to_ambient_K_per_W);
  for (int k = 0; k < 4; ++k) rate(k, 4) += heat_J[k] / (tick_s * C[k]);
  Eigen::Matrix<double, 5, 1> x;
  x << body_K_, 1.0;
  const Eigen::Matrix<double, 5, 5> over_tick = (tick_s * rate).exp();
  body_K_ = (over_tick * x).head<4>();
  for (std::size_t leg = 0; leg < 3; ++leg)
    for (std::size_t k = 0; k < plant::foster_pairs_max; ++k) {
      const plant::FosterPair& pair = p_.junction[k];
      const double end_K = pair.resistance_K_per_W * in.leg_J[leg] / tick_s;
      double& rise_K = rise_K_[leg][k];
      rise_K = end_K + (rise_K - end_K) * std::exp(-tick_s / pair.time_constant_s);
    }
}

std::array<double, plant::temperature_node_count> WarmBodies::node_K() const {
  double hottest_K = 0.0;
  for (const auto& leg : rise_K_) {
    double sum_K = body_K_[3];
    for (const double rise : leg) sum_K += rise;
    hottest_K = std::max(hottest_K, sum_K);
  }
  return {body_K_[0], body_K_[1], body_K_[3], hottest_K};
}

void WarmBodies::set(plant::TemperatureNode node, double kelvin) {
  if (node == plant::TemperatureNode::winding) body_K_[0] = kelvin;
  if (node == plant::TemperatureNode::magnet) body_K_[1] = kelvin;
  if (node == plant::TemperatureNode::heatsink) body_K_[3] = kelvin;
}

}  // namespace stillrotor::reference
