// Pins by the names that the datasheet gives them: "PA8".
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

std::optional<PinId> find_pin(const ChipPart&, std::string_view name) noexcept;
/// One that a converter can look at.
std::optional<PinId> find_analog_pin(const ChipPart&, std::string_view name) noexcept;
/// For messages: "PA0 to PA15, PB0 to PB15, ...".
std::string allowed_pins(const ChipPart&);
std::string allowed_analog_pins(const ChipPart&);

}  // namespace stillrotor::io::cortexm
