// The analog channels at the connector, and the memory of those that have one: bandwidths, filters,
// hysteresis. Only what is fitted is followed from step to step (analog.cpp).
#pragma once

#include <cstdint>

#include "plant/sensors/current.hpp"

namespace stillrotor::plant {

enum class SensorChannel : std::uint8_t {
  phase_current_U,
  phase_current_V,
  phase_current_W,
  bus_voltage,
  dc_link_current,
  phase_voltage_U,
  phase_voltage_V,
  phase_voltage_W,
  angle_sin,
  angle_cos,
  temperature_motor,
  temperature_bridge,
  star_point
};

struct AnalogState {
  SeenCurrent phase[3], dc_link;
  double bus_V = 0.0, terminal_V[3] = {0.0, 0.0, 0.0};  // behind their filters
};

}  // namespace stillrotor::plant
