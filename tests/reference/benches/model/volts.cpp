#include "tests/reference/benches/model/volts.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plant/sensors/noise.hpp"

namespace stillrotor::reference {
namespace {

using plant::NoiseOf;

double of_current(const plant::CurrentSensorParameters& c, std::size_t k, double output_A,
                  double noise, double time_s) {
  const double v = c.offset_V[k] + c.offset_drift_V_per_s * time_s +
                   c.polarity * c.gain_V_per_A[k] * output_A + c.noise_V * noise;
  return std::min(std::max(v, c.low_limit_V), c.high_limit_V);
}

double of_voltage(const plant::VoltageSensorParameters& s, double v) {
  return std::min(std::max(s.ratio * v, s.low_limit_V), s.high_limit_V);
}

double of_wave(const plant::SinCosParameters& s, int channel, double u, double noise) {
  const auto k = static_cast<std::size_t>(channel);
  const double wave =
      std::sin(u) + s.second_harmonic * std::sin(2.0 * u) + s.third_harmonic * std::sin(3.0 * u);
  const double v = s.offset_V + s.offset_error_V[k] +
                   s.amplitude_V * (1.0 + s.gain_error[k]) * wave + s.noise_V * noise;
  return std::min(std::max(v, s.low_limit_V), s.high_limit_V);
}

double ohms(const plant::TemperatureSensorParameters& s, double t) {
  const double d = std::clamp(t, -55.0, 175.0) - 25.0, p = std::clamp(t, -200.0, 850.0);
  switch (s.kind) {
    case plant::TemperatureSensing::ntc:
      return s.nominal_ohm * std::exp(s.b_K / (t + 273.15) - s.b_K / 298.15);
    case plant::TemperatureSensing::platinum:
      return s.nominal_ohm * (1.0 + 3.9083e-3 * p - 5.775e-7 * p * p -
                              (p < 0.0 ? 4.183e-12 * (p - 100.0) * std::pow(p, 3) : 0.0));
    case plant::TemperatureSensing::silicon:
      return s.nominal_ohm * (1.0 + s.linear_per_K * d + s.quadratic_per_K2 * d * d);
    case plant::TemperatureSensing::none:
      break;
  }
  return 0.0;
}

}  // namespace

std::array<double, channel_count> volts(const plant::DriveParameters& p, const Sensed& s) {
  const auto noise = [&](NoiseOf what) { return plant::noise_at(p.seed, what, s.at_ps); };
  const double t = 1e-12 * static_cast<double>(s.at_ps);
  std::array<double, channel_count> out = {};
  const auto show = [&](plant::SensorChannel c, int offset, double v) {
    out[static_cast<std::size_t>(c) + static_cast<std::size_t>(offset)] = v;
  };
  static constexpr NoiseOf of_phase[3] = {NoiseOf::phase_current_U, NoiseOf::phase_current_V,
                                          NoiseOf::phase_current_W};
  for (std::size_t k = 0; k < 3; ++k) {
    const int leg = static_cast<int>(k);
    show(plant::SensorChannel::phase_current_U, leg,
         of_current(p.phase_current, k, s.phase_output_A[k], noise(of_phase[k]), t));
    show(plant::SensorChannel::phase_voltage_U, leg, of_voltage(p.phase_voltage, s.terminal_V[k]));
  }
  show(plant::SensorChannel::dc_link_current, 0,
       of_current(p.dc_link_current, 0, s.dc_link_output_A, noise(NoiseOf::dc_link_current), t));
  show(plant::SensorChannel::bus_voltage, 0, of_voltage(p.bus_voltage, s.bus_V));
  show(plant::SensorChannel::star_point, 0,
       of_voltage(p.phase_voltage, (s.terminal_V[0] + s.terminal_V[1] + s.terminal_V[2]) / 3.0));
  const auto& sc = p.sin_cos;
  const double u = sc.periods_per_turn * (s.theta_m - sc.zero_rad);
  show(plant::SensorChannel::angle_sin, 0,
       of_wave(sc, 0, u + s.sin_cos_shift_rad[0], noise(NoiseOf::angle_sin)));
  show(plant::SensorChannel::angle_cos, 0,
       of_wave(sc, 1, u + 0.5 * std::numbers::pi + sc.phase_error_rad + s.sin_cos_shift_rad[1],
               noise(NoiseOf::angle_cos)));
  for (int n = 0; n < 2; ++n) {
    const auto& sensor = p.temperature[n];
    const double R = ohms(sensor, s.temperature_C[static_cast<std::size_t>(sensor.node)]);
    show(plant::SensorChannel::temperature_motor, n,
         sensor.supply_V * R / (R + sensor.pull_up_ohm));
  }
  return out;
}

}  // namespace stillrotor::reference
