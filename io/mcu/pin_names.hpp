// Pins as users write them.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "io/mcu/registers.hpp"

namespace stillrotor::io::mcu {

/// "PB0" .. "PB5", "PC0" .. "PC5", "PD0" .. "PD7". Port pins that the package brings out and that
/// neither crystal nor reset needs. Throws ConfigError with that path.
Pin parse_pin(std::string_view text, const std::string& path);

/// "ADC0" .. "ADC7" or "PC0" .. "PC5": the converter's input. Throws ConfigError with that path.
unsigned parse_adc_input(std::string_view text, const std::string& path);

/// The port pin behind an ADC input; inputs 6 and 7 have none.
std::optional<Pin> pin_of_adc_input(unsigned input);

}  // namespace stillrotor::io::mcu
