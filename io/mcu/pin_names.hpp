// Pins as users write them.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>

#include "io/connector.hpp"
#include "io/mcu/registers.hpp"

namespace stillrotor::io::mcu {

/// "PB0" .. "PB5", "PC0" .. "PC5", "PD0" .. "PD7". Port pins that the package brings out and that
/// neither crystal nor reset needs. Throws ConfigError with that path.
Pin parse_pin(std::string_view text, const std::string& path);

/// Analog inputs: 0 to 7 the converter's, then the comparator's own two.
inline constexpr unsigned ain0 = 8, ain1 = 9;
/// The channel at each; nullopt: nothing connected.
using AnalogInputs = std::array<std::optional<ChannelId>, 10>;

/// "ADC0" .. "ADC7" or "PC0" .. "PC5"; "AIN0" and "AIN1", or "PD6" and "PD7". Throws ConfigError
/// with that path.
unsigned parse_analog_input(std::string_view text, const std::string& path);

/// The port pin behind an analog input; ADC6 and ADC7 have none.
std::optional<Pin> pin_of_analog_input(unsigned input);

}  // namespace stillrotor::io::mcu
