#include "io/mcu/cortexm/pin_names.hpp"

#include <fmt/core.h>

#include <charconv>

namespace stillrotor::io::cortexm {

std::optional<PinId> find_pin(const ChipPart& part, std::string_view name) noexcept {
  if (name.size() < 3 || name.size() > 4 || name[0] != 'P') return std::nullopt;
  unsigned number = 16;
  const char* const end = name.data() + name.size();
  const auto [rest, error] = std::from_chars(name.data() + 2, end, number);
  if (error != std::errc() || rest != end || number > 15 || (name.size() == 4 && number < 10))
    return std::nullopt;
  for (std::size_t port = 0; port < part.ports.size(); ++port)
    if (part.ports[port].letter == name[1])
      return PinId{static_cast<std::uint8_t>(port), static_cast<std::uint8_t>(number)};
  return std::nullopt;
}

std::optional<PinId> find_analog_pin(const ChipPart& part, std::string_view name) noexcept {
  const auto pin = find_pin(part, name);
  if (!pin) return std::nullopt;
  for (const ConverterInput& in : part.motor->inputs)
    if (in.port == 'A' + pin->port && in.pin == pin->number) return pin;
  return std::nullopt;
}

std::string allowed_pins(const ChipPart& part) {
  std::string text;
  for (const PortBlock& port : part.ports)
    text += fmt::format("{}P{}0 to P{}15", text.empty() ? "" : ", ", port.letter, port.letter);
  return text;
}

std::string allowed_analog_pins(const ChipPart& part) {
  std::string text;
  for (const ConverterInput& in : part.motor->inputs)
    text += fmt::format("{}P{}{}", text.empty() ? "" : ", ", in.port, in.pin);
  return text;
}

}  // namespace stillrotor::io::cortexm
