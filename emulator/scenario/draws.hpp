// Random numbers of a scenario, each action's own: the same seed gives the same run.
#pragma once

#include <cmath>
#include <cstdint>

#include "plant/sensors/noise.hpp"

namespace stillrotor {

class Draws {
 public:
  Draws(std::uint64_t seed, std::uint64_t action) noexcept
      : key_(plant::mixed(plant::mixed(seed) ^ action)) {}

  /// Above 0, up to 1.
  double uniform() noexcept { return plant::unit_share(plant::mixed(key_ ^ drawn_++)); }
  double exponential(double mean) noexcept { return -mean * std::log(uniform()); }
  /// Mean 0, standard deviation 1.
  double normal() noexcept {
    const double radius = std::sqrt(-2.0 * std::log(uniform()));
    return radius * std::cos(plant::two_pi * uniform());
  }

 private:
  std::uint64_t key_, drawn_ = 0;
};

}  // namespace stillrotor
