// Pins as users write them.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

/// "PB3": a port pin that the package brings out and that neither crystal nor reset needs.
std::optional<Pin> find_pin(const Part&, std::string_view name) noexcept;

/// "ADC3", "AIN0", or the port pin behind one of them: the analog input.
std::optional<unsigned> find_analog_input(const Part&, std::string_view name) noexcept;

/// The one name by which pins compare equal: ADC3 is "PC3", and ADC6, which has no port, "ADC6".
/// Empty: no such pin.
std::string physical_pin(const Part&, std::string_view name);

/// "PB0 to PB5, PC0 to PC5, PD0 to PD7", and which are kept.
std::string allowed_pins(const Part&);
/// "ADC0 (PC0), ..., ADC6, ADC7, AIN0 (PD6), AIN1 (PD7)"
std::string allowed_analog_inputs(const Part&);

}  // namespace stillrotor::io::mcu
