// Which line and channel of the connector each sensor of the plant is.
#pragma once

#include "io/connector.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

constexpr io::LineId line_of(plant::SensorLine sensor) noexcept {
  if (sensor == plant::SensorLine::absolute_angle) return io::line::angle_data;
  if (sensor == plant::SensorLine::driver_fault) return io::line::driver_fault;
  return io::LineId{
      static_cast<std::uint16_t>(io::index(io::line::hall_U) + static_cast<std::size_t>(sensor))};
}
constexpr bool is_sensor(io::LineId line) noexcept {
  return (line >= io::line::hall_U && line <= io::line::encoder_Z) ||
         line == io::line::angle_data || line == io::line::driver_fault;
}
/// Of Halls and encoder.
constexpr plant::SensorLine sensor_of(io::LineId line) noexcept {
  return static_cast<plant::SensorLine>(io::index(line) - io::index(io::line::hall_U));
}
/// The plant's channels stand in the connector's order, without the throttle.
constexpr plant::SensorChannel sensor_of(io::ChannelId channel) noexcept {
  return static_cast<plant::SensorChannel>(io::index(channel) -
                                           io::index(io::channel::phase_current_U));
}
static_assert(sensor_of(io::channel::bus_voltage) == plant::SensorChannel::bus_voltage);
static_assert(sensor_of(io::channel::dc_link_current) == plant::SensorChannel::dc_link_current);
static_assert(sensor_of(io::channel::phase_voltage_U) == plant::SensorChannel::phase_voltage_U);
static_assert(sensor_of(io::channel::angle_sin) == plant::SensorChannel::angle_sin);
static_assert(sensor_of(io::channel::temperature_bridge) ==
              plant::SensorChannel::temperature_bridge);
static_assert(sensor_of(io::channel::star_point) == plant::SensorChannel::star_point);

}  // namespace stillrotor
