#include "plant/sensors/temperature.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::plant {
namespace {

constexpr double zero_C_K = 273.15, reference_C = 25.0;

double platinum_ratio(double t_C) noexcept {
  constexpr double a = 3.9083e-3, b = -5.775e-7, c = -4.183e-12;  // IEC 60751
  const double above = 1.0 + t_C * (a + t_C * b);
  return t_C >= 0.0 ? above : above + c * (t_C - 100.0) * t_C * t_C * t_C;
}

}  // namespace

double sensor_ohm(const TemperatureSensorParameters& sensor, double temperature_C) noexcept {
  switch (sensor.kind) {
    case TemperatureSensing::ntc:
      return sensor.nominal_ohm * std::exp(sensor.b_K * (1.0 / (temperature_C + zero_C_K) -
                                                         1.0 / (reference_C + zero_C_K)));
    case TemperatureSensing::platinum:
      return sensor.nominal_ohm * platinum_ratio(std::clamp(temperature_C, -200.0, 850.0));
    case TemperatureSensing::silicon: {
      const double d = std::clamp(temperature_C, -55.0, 175.0) - reference_C;
      return sensor.nominal_ohm * (1.0 + d * (sensor.linear_per_K + d * sensor.quadratic_per_K2));
    }
    case TemperatureSensing::none:
      break;
  }
  return 0.0;
}

double temperature_sense_V(const TemperatureSensorParameters& sensor,
                           double temperature_C) noexcept {
  const double ohm = sensor_ohm(sensor, temperature_C);
  return sensor.supply_V * ohm / (ohm + sensor.pull_up_ohm);
}

}  // namespace stillrotor::plant
