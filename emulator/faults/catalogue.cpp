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
      &bad_joint,
      // sensors
      &hall_line_open,
      &hall_line_stuck,
      &hall_line_inverted,
      &hall_line_glitching,
      &hall_lines_swapped,
      &hall_displaced,
      &hall_supply_lost,
      &angle_sensor_error,
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
