#include "io/mcu/parts/part_pins.hpp"

#include "io/mcu/cortexm/pin_names.hpp"
#include "io/mcu/parts/part.hpp"
#include "io/mcu/parts/pin_names.hpp"

namespace stillrotor::io::mcu {

std::optional<PartPins> pins_of(std::string_view name) {
  if (const Part* part = find_part(name))
    return PartPins{
        part->name,
        [part](std::string_view pin) { return find_pin(*part, pin).has_value(); },
        [part](std::string_view pin) { return find_analog_input(*part, pin).has_value(); },
        [part](std::string_view pin) { return physical_pin(*part, pin); },
        allowed_pins(*part),
        allowed_analog_inputs(*part)};
  if (const cortexm::ChipPart* part = cortexm::find_chip(name))
    return PartPins{
        part->name,
        [part](std::string_view pin) { return cortexm::find_pin(*part, pin).has_value(); },
        [part](std::string_view pin) { return cortexm::find_analog_pin(*part, pin).has_value(); },
        [part](std::string_view pin) {
          return cortexm::find_pin(*part, pin) ? std::string(pin) : std::string();
        },
        cortexm::allowed_pins(*part),
        cortexm::allowed_analog_pins(*part)};
  return std::nullopt;
}

std::string simulated_parts() { return part_names() + ", " + std::string(cortexm::chip_names()); }

}  // namespace stillrotor::io::mcu
