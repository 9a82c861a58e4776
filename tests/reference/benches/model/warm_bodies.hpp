// The heat paths a second time: bodies by the exponential of their matrix, over each tick of 1 ms
// with the heat of that tick spread evenly over it; a junction's Foster pairs one by one.
// Source: plant/thermal/thermal.hpp's model, written down anew. Units K, J.
#pragma once

#include <Eigen/Core>
#include <array>

#include "plant/drive.hpp"

namespace stillrotor::reference {

inline constexpr std::int64_t tick_ps = 1'000'000'000;

struct GatheredHeat {
  double winding_J = 0.0, magnet_J = 0.0, housing_J = 0.0;
  std::array<double, 3> leg_J = {};
};

class WarmBodies {
 public:
  explicit WarmBodies(const plant::ThermalParameters&);
  void tick(const GatheredHeat&);
  /// By plant::TemperatureNode: winding, magnet, heatsink, hottest junction.
  std::array<double, plant::temperature_node_count> node_K() const;
  double housing_K() const { return body_K_[2]; }
  void set(plant::TemperatureNode, double kelvin);

  double ambient_K;

 private:
  plant::ThermalParameters p_;
  Eigen::Vector4d body_K_;  // winding, magnet, housing, heatsink
  std::array<std::array<double, plant::foster_pairs_max>, 3> rise_K_ = {};
};

}  // namespace stillrotor::reference
