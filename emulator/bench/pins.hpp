// The pins that a harness may name, and which wires would meet on one of them.
#pragma once

#include <string>
#include <string_view>

namespace stillrotor {

/// A pin's one name, so that ADC3 and PC3 of one part compare equal: "PC3". Empty: no such pin.
/// Source: data sheets of the parts, "Pin Configurations" (ATmega48/88/168/328: PB0-PB5, PC0-PC5,
/// PD0-PD7, ADC6 and ADC7 analog only; PB6, PB7 carry the crystal and PC6 the reset).
/// Other parts: any port letter and bit; io/mcu knows them better and says so at start.
std::string physical_pin(std::string_view part, std::string_view name);

/// Can it be read by the ADC?
bool is_analog(std::string_view part, std::string_view name);

/// "PB0 to PB5, PC0 to PC5, PD0 to PD7"
std::string allowed_pins(std::string_view part, bool analog);

}  // namespace stillrotor
