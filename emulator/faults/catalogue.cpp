#include "emulator/faults/catalogue.hpp"

#include <algorithm>

namespace stillrotor {

std::span<const Fault* const> fault_catalogue() noexcept {
  static constexpr const Fault* all[] = {
      // gates
      &gate_line_open,
      &gate_line_stuck,
      // bridge
      &switch_open,
      &switch_short,
      &shoot_through,
      &bootstrap_lost,
      &gate_skew,
      // cables and machine
      &phase_open,
      &phase_phase_short,
      &phase_ground_short,
      &bad_joint,
      &turn_short,
      &demagnetised,
      &over_temperature,
      // sensors
      &hall_line_open,
      &hall_line_stuck,
      &hall_line_inverted,
      &hall_line_glitching,
      &hall_lines_swapped,
      &hall_displaced,
      &hall_supply_lost,
      &encoder_line_open,
      &encoder_lines_swapped,
      &encoder_counts_lost,
      &encoder_index_missing,
      &encoder_mount_slips,
      &sin_cos_degraded,
      &angle_sensor_error,
      &angle_frame_errors,
      &angle_stuck,
      &current_sensor_offset,
      &current_sensor_gain,
      &current_sensor_drift,
      &current_sensor_saturated,
      &current_sensor_stuck,
      &current_sensor_noisy,
      &current_sensors_swapped,
      &bus_voltage_sensor_wrong,
      &bus_voltage_sensor_stuck,
      &phase_voltage_sensor_wrong,
      &phase_voltage_sensor_stuck,
      &temperature_sensor_open,
      &temperature_sensor_short,
      // the driver's hands and the controller's supply
      &throttle_wire_open,
      &throttle_wire_short,
      &throttle_ground_lifted,
      &brake_switch_stuck,
      &key_bounces,
      &controller_brown_out,
      // supply
      &supply_weak,
      &supply_sag,
      &supply_ripple,
      &supply_interrupted,
      &supply_disconnected,
      &contactor_opens,
      &pre_charge_open,
      // shaft
      &bearing_seized,
      &rotor_locked,
      &freewheel_failed,
      &wheel_slip,
  };
  return all;
}

bool is_possible(const Fault& fault, const Bench& bench) {
  if (fault.fits == nullptr) return true;
  FaultSettings settings;
  const auto which = std::find_if(fault.options.begin(), fault.options.end(),
                                  [](const FaultOption& option) { return option.which; });
  if (which == fault.options.end()) return fault.fits(bench, settings);
  double& one = settings.value[static_cast<std::size_t>(which - fault.options.begin())];
  for (one = 0.0; one < static_cast<double>(which->words.size()); ++one)
    if (fault.fits(bench, settings)) return true;
  return false;
}

const Fault* find_fault(std::string_view name) noexcept {
  const auto all = fault_catalogue();
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const Fault* fault) { return fault->name == name; });
  return found == all.end() ? nullptr : *found;
}

}  // namespace stillrotor
