// What faults of analog sensors and their wires share.
#pragma once

#include <array>

#include "emulator/bench/bench.hpp"
#include "emulator/faults/fault.hpp"
#include "emulator/faults/fault_site.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {

/// Changes fields of a channel's fault.
template <class Change>
void change(FaultSite& site, io::ChannelId channel, const Change& apply) noexcept {
  ChannelFault fault = site.channel(channel);
  apply(fault);
  site.set_channel(channel, fault);
}

inline bool is_wired(const Bench& bench, io::ChannelId channel) {
  return bench.harness.channels[io::index(channel)];
}

// ---- current sensors

inline constexpr std::array<std::string_view, 4> current_words{"U", "V", "W", "DC"};
/// Which current sensor: a phase's, or the DC link's.
inline constexpr FaultOption which_current{.name = "line",
                                           .words = current_words,
                                           .allowed = "U, V, W, DC",
                                           .example = "U",
                                           .which = true};
inline constexpr std::size_t dc_word = 3;

inline io::ChannelId current_channel(std::size_t word) noexcept {
  if (word == dc_word) return io::channel::dc_link_current;
  return io::ChannelId{static_cast<std::uint16_t>(io::index(io::channel::phase_current_U) + word)};
}
inline const plant::CurrentSensorParameters& current_sensor(const Bench& bench,
                                                            std::size_t word) noexcept {
  return word == dc_word ? bench.drive.dc_link_current : bench.drive.phase_current;
}
inline std::size_t current_element(std::size_t word) noexcept { return word == dc_word ? 0 : word; }

/// At rest [V].
inline double current_zero_V(const Bench& bench, std::size_t word) noexcept {
  return current_sensor(bench, word).offset_V[current_element(word)];
}
/// Signed: what one ampere into the machine (or the bridge) adds, while the sensor sees it.
inline double volts_per_A(const Bench& bench, std::size_t word) noexcept {
  const plant::CurrentSensorParameters& sensor = current_sensor(bench, word);
  const double seen = sensor.kind == plant::CurrentSensing::low_side_shunt ? -1.0 : 1.0;
  return seen * sensor.polarity * sensor.gain_V_per_A[current_element(word)];
}

/// For faults of one current sensor, named by option 0.
inline bool current_is_sensed(const Bench& bench, const FaultSettings& settings) {
  const std::size_t word = settings.word(0);
  const plant::CurrentSensorParameters& sensor = current_sensor(bench, word);
  return is_wired(bench, current_channel(word)) && sensor.kind != plant::CurrentSensing::none &&
         sensor.fitted[current_element(word)] && wires_start_here(bench);
}
inline constexpr std::string_view current_needs = "this current sensor, wired from here",
                                  current_where =
                                      "sensors.phase_current, sensors.dc_link_current, "
                                      "harness.channels, controller.backend";

// ---- voltages of the terminals

inline constexpr std::array<std::string_view, 4> voltage_words{"U", "V", "W", "star"};
/// Which terminal's divider, or that of the star point.
inline constexpr FaultOption which_voltage{.name = "line",
                                           .words = voltage_words,
                                           .allowed = "U, V, W, star",
                                           .example = "U",
                                           .which = true};
inline io::ChannelId voltage_channel(std::size_t word) noexcept {
  if (word == 3) return io::channel::star_point;
  return io::ChannelId{static_cast<std::uint16_t>(io::index(io::channel::phase_voltage_U) + word)};
}
/// For faults of one divider, named by option 0.
inline bool voltage_is_sensed(const Bench& bench, const FaultSettings& settings) {
  return bench.drive.phase_voltage.fitted && is_wired(bench, voltage_channel(settings.word(0))) &&
         wires_start_here(bench);
}
inline constexpr std::string_view voltage_needs = "this terminal's voltage, wired from here",
                                  voltage_where =
                                      "sensors.phase_voltage, harness.channels, controller.backend";

// ---- temperature sensors

inline constexpr std::array<std::string_view, 2> temperature_words{"motor", "bridge"};
inline constexpr FaultOption which_temperature{.name = "sensor",
                                               .words = temperature_words,
                                               .allowed = "motor, bridge",
                                               .example = "motor",
                                               .which = true};
inline io::ChannelId temperature_channel(std::size_t word) noexcept {
  return word == 0 ? io::channel::temperature_motor : io::channel::temperature_bridge;
}
/// For faults of one temperature sensor, named by option 0.
inline bool temperature_is_sensed(const Bench& bench, const FaultSettings& settings) {
  return is_wired(bench, temperature_channel(settings.word(0))) &&
         bench.drive.temperature[settings.word(0)].kind != plant::TemperatureSensing::none;
}
inline constexpr std::string_view temperature_needs = "this temperature sensor",
                                  temperature_where = "sensors.temperature, harness.channels";

// ---- throttle

/// What supplies a throttle, and so what its wire reads without ground.
inline constexpr double throttle_supply_V = 5.0;
inline bool throttle_is_wired(const Bench& bench, const FaultSettings&) {
  return is_wired(bench, io::channel::throttle);
}
inline constexpr std::string_view throttle_needs = "a throttle's wire",
                                  throttle_where = "harness.channels.throttle";

}  // namespace stillrotor
