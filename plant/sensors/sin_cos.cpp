#include "plant/sensors/sin_cos.hpp"

#include <algorithm>
#include <cmath>

#include "plant/sensors/noise.hpp"

namespace stillrotor::plant {

SinCosVolts sin_cos_sense_V(const SinCosParameters& sensor, double theta_m_rad,
                            std::int64_t time_ps, std::uint64_t seed) noexcept {
  const double u = sensor.periods_per_turn * (theta_m_rad - sensor.zero_rad);
  const auto volts = [&](std::size_t k, double angle, NoiseOf which) {
    const double wave = std::sin(angle) + sensor.second_harmonic * std::sin(2.0 * angle) +
                        sensor.third_harmonic * std::sin(3.0 * angle);
    double v = sensor.offset_V + sensor.offset_error_V[k] +
               sensor.amplitude_V * (1.0 + sensor.gain_error[k]) * wave;
    if (sensor.noise_V > 0.0) v += sensor.noise_V * noise_at(seed, which, time_ps);
    return std::clamp(v, sensor.low_limit_V, sensor.high_limit_V);
  };
  return {volts(0, u, NoiseOf::angle_sin),
          volts(1, u + 0.5 * pi + sensor.phase_error_rad, NoiseOf::angle_cos)};
}

}  // namespace stillrotor::plant
