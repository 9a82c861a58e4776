#include "io/mcu/parts/pin_names.hpp"

#include <fmt/format.h>

#include <bit>

namespace stillrotor::io::mcu {
namespace {

constexpr std::string_view port_letters = "BCD";

std::string name_of(Pin pin) { return fmt::format("P{}{}", port_letters[pin.port], pin.bit); }

std::string name_of(unsigned input) {
  return input < ain0 ? fmt::format("ADC{}", input) : fmt::format("AIN{}", input - ain0);
}

}  // namespace

std::optional<Pin> find_pin(const Part& part, std::string_view name) noexcept {
  if (name.size() != 3 || name[0] != 'P') return std::nullopt;
  const std::size_t port = port_letters.find(name[1]);
  const unsigned bit = static_cast<unsigned>(name[2] - '0');
  if (port == std::string_view::npos || bit > 7) return std::nullopt;
  if (!(part.pins.usable[port] >> bit & 1)) return std::nullopt;
  return Pin{static_cast<std::uint8_t>(port), static_cast<std::uint8_t>(bit)};
}

std::optional<unsigned> find_analog_input(const Part& part, std::string_view name) noexcept {
  if (name.size() != 3 && name.size() != 4) return std::nullopt;
  const unsigned number = static_cast<unsigned>(name.back() - '0');
  if (name.size() == 4 && name.starts_with("ADC") && number < ain0) return number;
  if (name.size() == 4 && name.starts_with("AIN") && number < 2) return ain0 + number;
  if (const auto pin = find_pin(part, name))
    for (unsigned input = 0; input < analog_input_count; ++input)
      if (part.pins.analog[input] == pin) return input;
  return std::nullopt;
}

std::string physical_pin(const Part& part, std::string_view name) {
  if (find_pin(part, name)) return std::string(name);
  const auto input = find_analog_input(part, name);
  if (!input) return {};
  const auto& pin = part.pins.analog[*input];
  return pin ? name_of(*pin) : std::string(name);
}

std::string allowed_pins(const Part& part) {
  std::string text;
  for (std::uint8_t port = 0; port < port_count; ++port) {
    // Those of a port follow each other from 0 on.
    const auto last = static_cast<std::uint8_t>(std::countr_one(part.pins.usable[port]) - 1);
    text += fmt::format("{}{} to {}", text.empty() ? "" : ", ", name_of(Pin{port, 0}),
                        name_of(Pin{port, last}));
  }
  return text;
}

std::string allowed_analog_inputs(const Part& part) {
  std::string text;
  for (unsigned input = 0; input < analog_input_count; ++input) {
    text += fmt::format("{}{}", text.empty() ? "" : ", ", name_of(input));
    if (const auto& pin = part.pins.analog[input]) text += fmt::format(" ({})", name_of(*pin));
  }
  return text;
}

}  // namespace stillrotor::io::mcu
