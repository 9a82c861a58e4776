#include "plant/thermal/thermal.hpp"

#include "plant/require.hpp"

namespace stillrotor::plant {
namespace {

/// A body with all its paths must not follow faster than the ticks can.
void slow_enough(const char* name, double capacity_J_per_K, double paths_S, double tick_s) {
  const double tau_s = capacity_J_per_K / paths_S;
  if (tau_s < 20.0 * tick_s)
    throw std::invalid_argument(std::string(name) + " with its heat paths has a time constant of " +
                                std::to_string(tau_s) + " s; allowed " +
                                std::to_string(20.0 * tick_s) +
                                " s and more. Use a larger capacity or higher resistances.");
}

}  // namespace

ThermalNetwork::ThermalNetwork(const ThermalParameters& p, double tick_s) : p_(p), tick_s_(tick_s) {
  above_zero("thermal.ambient", p.ambient_K);
  above_zero("thermal.winding_capacity", p.winding_capacity_J_per_K);
  above_zero("thermal.magnet_capacity", p.magnet_capacity_J_per_K);
  above_zero("thermal.housing_capacity", p.housing_capacity_J_per_K);
  above_zero("thermal.heatsink_capacity", p.heatsink_capacity_J_per_K);
  above_zero("thermal.winding_to_housing", p.winding_to_housing_K_per_W);
  above_zero("thermal.magnet_to_housing", p.magnet_to_housing_K_per_W);
  above_zero("thermal.housing_to_ambient", p.housing_to_ambient_K_per_W);
  above_zero("thermal.heatsink_to_ambient", p.heatsink_to_ambient_K_per_W);
  capacity_inverse_ = {1.0 / p.winding_capacity_J_per_K, 1.0 / p.magnet_capacity_J_per_K,
                       1.0 / p.housing_capacity_J_per_K, 1.0 / p.heatsink_capacity_J_per_K};
  winding_S_ = 1.0 / p.winding_to_housing_K_per_W;
  magnet_S_ = 1.0 / p.magnet_to_housing_K_per_W;
  housing_S_ = 1.0 / p.housing_to_ambient_K_per_W;
  heatsink_S_ = 1.0 / p.heatsink_to_ambient_K_per_W;
  slow_enough("thermal.winding_capacity", p.winding_capacity_J_per_K, winding_S_, tick_s);
  slow_enough("thermal.magnet_capacity", p.magnet_capacity_J_per_K, magnet_S_, tick_s);
  slow_enough("thermal.housing_capacity", p.housing_capacity_J_per_K,
              winding_S_ + magnet_S_ + housing_S_, tick_s);
  slow_enough("thermal.heatsink_capacity", p.heatsink_capacity_J_per_K, heatsink_S_, tick_s);
  for (std::size_t k = 0; k < foster_pairs_max; ++k) {
    const FosterPair& pair = p.junction[k];
    not_negative("thermal.junction resistance", pair.resistance_K_per_W);
    above_zero("thermal.junction time constant", pair.time_constant_s);
    kept_[k] = std::exp(-tick_s / pair.time_constant_s);
  }
}

ThermalState ThermalNetwork::at_rest() const noexcept {
  ThermalState s;
  s.ambient_K = p_.ambient_K;
  s.node_K.fill(p_.ambient_K);
  return s;
}

ThermalNetwork::Nodes ThermalNetwork::rates(const Nodes& t, const Nodes& power_W,
                                            double ambient_K) const noexcept {
  const double from_winding = winding_S_ * (t[0] - t[2]), from_magnet = magnet_S_ * (t[1] - t[2]);
  return {capacity_inverse_[0] * (power_W[0] - from_winding),
          capacity_inverse_[1] * (power_W[1] - from_magnet),
          capacity_inverse_[2] *
              (power_W[2] + from_winding + from_magnet - housing_S_ * (t[2] - ambient_K)),
          capacity_inverse_[3] * (power_W[3] - heatsink_S_ * (t[3] - ambient_K))};
}

void ThermalNetwork::advance(ThermalState& s, const HeatInput& in) const noexcept {
  const double per_s = 1.0 / tick_s_;
  const Nodes power{in.winding_J * per_s, in.magnet_J * per_s, in.housing_J * per_s,
                    (in.leg_J[0] + in.leg_J[1] + in.leg_J[2]) * per_s};
  const auto moved = [&s](const Nodes& rate, double h) {
    Nodes out;
    for (std::size_t k = 0; k < heat_nodes; ++k) out[k] = s.node_K[k] + h * rate[k];
    return out;
  };
  const Nodes k1 = rates(s.node_K, power, s.ambient_K);
  const Nodes k2 = rates(moved(k1, 0.5 * tick_s_), power, s.ambient_K);
  const Nodes k3 = rates(moved(k2, 0.5 * tick_s_), power, s.ambient_K);
  const Nodes k4 = rates(moved(k3, tick_s_), power, s.ambient_K);
  for (std::size_t k = 0; k < heat_nodes; ++k)
    s.node_K[k] += tick_s_ / 6.0 * (k1[k] + 2.0 * (k2[k] + k3[k]) + k4[k]);
  for (std::size_t leg = 0; leg < 3; ++leg)
    for (std::size_t k = 0; k < foster_pairs_max; ++k)
      s.rise_K[leg][k] = kept_[k] * s.rise_K[leg][k] + (1.0 - kept_[k]) *
                                                           p_.junction[k].resistance_K_per_W *
                                                           in.leg_J[leg] * per_s;
}

double ThermalNetwork::to_ambient_W(const ThermalState& s) const noexcept {
  return housing_S_ * (s.at(HeatNode::housing) - s.ambient_K) +
         heatsink_S_ * (s.at(HeatNode::heatsink) - s.ambient_K);
}

double ThermalNetwork::stored_J(const ThermalState& s) const noexcept {
  double sum = 0.0;
  for (std::size_t k = 0; k < heat_nodes; ++k)
    sum += (s.node_K[k] - s.ambient_K) / capacity_inverse_[k];
  return sum;
}

}  // namespace stillrotor::plant
