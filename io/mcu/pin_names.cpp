#include "io/mcu/pin_names.hpp"

#include <fmt/core.h>

#include <array>

namespace stillrotor::io::mcu {
namespace {

constexpr std::string_view port_letters = "BCD";
constexpr std::array<unsigned, port_count> usable_pins = {6, 6, 8};
constexpr std::uint8_t port_c = 1, port_d = 2;
constexpr Pin ain0_pin{port_d, 6}, ain1_pin{port_d, 7};

std::optional<Pin> find_pin(std::string_view text) {
  if (text.size() != 3 || text[0] != 'P') return std::nullopt;
  const std::size_t port = port_letters.find(text[1]);
  if (port == std::string_view::npos) return std::nullopt;
  const unsigned bit = static_cast<unsigned>(text[2] - '0');
  if (bit >= usable_pins[port]) return std::nullopt;
  return Pin{static_cast<std::uint8_t>(port), static_cast<std::uint8_t>(bit)};
}

}  // namespace

Pin parse_pin(std::string_view text, const std::string& path) {
  if (const auto pin = find_pin(text)) return *pin;
  throw ConfigError(path,
                    fmt::format("pin is {}; allowed on this part: PB0 to PB5, PC0 to PC5, PD0 to "
                                "PD7. PB6 and PB7 carry the crystal, PC6 the reset.",
                                text));
}

unsigned parse_analog_input(std::string_view text, const std::string& path) {
  if (text.size() == 4 && text.substr(0, 3) == "ADC" && text[3] >= '0' && text[3] <= '7')
    return static_cast<unsigned>(text[3] - '0');
  if (text == "AIN0") return ain0;
  if (text == "AIN1") return ain1;
  const auto pin = find_pin(text);
  if (pin && pin->port == port_c) return pin->bit;
  if (pin == ain0_pin) return ain0;
  if (pin == ain1_pin) return ain1;
  throw ConfigError(path, fmt::format("analog pin is {}; allowed on this part: ADC0 to ADC7, or "
                                      "PC0 to PC5 for the first six; AIN0 (PD6) and AIN1 (PD7) for "
                                      "the comparator.",
                                      text));
}

std::optional<Pin> pin_of_analog_input(unsigned input) {
  if (input == ain0) return ain0_pin;
  if (input == ain1) return ain1_pin;
  if (input >= usable_pins[port_c]) return std::nullopt;
  return Pin{port_c, static_cast<std::uint8_t>(input)};
}

}  // namespace stillrotor::io::mcu
