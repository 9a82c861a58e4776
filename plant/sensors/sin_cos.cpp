#include "plant/sensors/sin_cos.hpp"

#include <algorithm>
#include <cmath>

#include "plant/sensors/noise.hpp"

namespace stillrotor::plant {

namespace {

double volts(const SinCosParameters& sensor, std::size_t k, double angle, double noise) noexcept {
  double wave = std::sin(angle);
  if (sensor.second_harmonic != 0.0) wave += sensor.second_harmonic * std::sin(2.0 * angle);
  if (sensor.third_harmonic != 0.0) wave += sensor.third_harmonic * std::sin(3.0 * angle);
  const double v = sensor.offset_V + sensor.offset_error_V[k] +
                   sensor.amplitude_V * (1.0 + sensor.gain_error[k]) * wave + noise;
  return std::clamp(v, sensor.low_limit_V, sensor.high_limit_V);
}

double period_angle(const SinCosParameters& sensor, double theta_m_rad) noexcept {
  return sensor.periods_per_turn * (theta_m_rad - sensor.zero_rad);
}

double noise(const SinCosParameters& sensor, NoiseOf which, std::int64_t time_ps,
             std::uint64_t seed) noexcept {
  return sensor.noise_V > 0.0 ? sensor.noise_V * noise_at(seed, which, time_ps) : 0.0;
}

}  // namespace

double sine_sense_V(const SinCosParameters& sensor, double theta_m_rad, std::int64_t time_ps,
                    std::uint64_t seed, double shift_rad) noexcept {
  return volts(sensor, 0, period_angle(sensor, theta_m_rad) + shift_rad,
               noise(sensor, NoiseOf::angle_sin, time_ps, seed));
}

double cosine_sense_V(const SinCosParameters& sensor, double theta_m_rad, std::int64_t time_ps,
                      std::uint64_t seed, double shift_rad) noexcept {
  return volts(sensor, 1,
               period_angle(sensor, theta_m_rad) + 0.5 * pi + sensor.phase_error_rad + shift_rad,
               noise(sensor, NoiseOf::angle_cos, time_ps, seed));
}

}  // namespace stillrotor::plant
