#include "emulator/bench/pins.hpp"

#include <fmt/format.h>

#include <cctype>

namespace stillrotor {
namespace {

bool is_mega328_family(std::string_view part) {
  for (const char* start : {"atmega48", "atmega88", "atmega168", "atmega328"})
    if (part.starts_with(start)) return true;
  return false;
}

/// "PB3" -> port 'B', bit 3.
bool port_pin(std::string_view name, char& port, int& bit) {
  if (name.size() != 3 || name[0] != 'P' || std::isupper(static_cast<unsigned char>(name[1])) == 0)
    return false;
  port = name[1];
  bit = name[2] - '0';
  return bit >= 0 && bit <= 7;
}

/// "ADC5" -> 5; -1: not such a name.
int adc_number(std::string_view name) {
  if (!name.starts_with("ADC") || name.size() < 4 || name.size() > 5) return -1;
  int number = 0;
  for (const char c : name.substr(3)) {
    if (std::isdigit(static_cast<unsigned char>(c)) == 0) return -1;
    number = number * 10 + (c - '0');
  }
  return number;
}

constexpr std::string_view comparator_plus = "AIN0", comparator_minus = "AIN1";

}  // namespace

std::string physical_pin(std::string_view part, std::string_view name) {
  const bool known = is_mega328_family(part);
  if (const int adc = adc_number(name); adc >= 0) {
    if (!known) return std::string(name);
    if (adc <= 5) return fmt::format("PC{}", adc);
    return adc <= 7 ? std::string(name) : std::string();
  }
  if (known && name == comparator_plus) return "PD6";
  if (known && name == comparator_minus) return "PD7";
  char port = 0;
  int bit = 0;
  if (!port_pin(name, port, bit)) return {};
  if (known && !((port == 'B' && bit <= 5) || (port == 'C' && bit <= 5) || port == 'D')) return {};
  return std::string(name);
}

bool is_analog(std::string_view part, std::string_view name) {
  const std::string pin = physical_pin(part, name);
  return !pin.empty() && (adc_number(name) >= 0 || !is_mega328_family(part) || pin[1] == 'C' ||
                          pin == "PD6" || pin == "PD7");
}

std::string allowed_pins(std::string_view part, bool analog) {
  if (!is_mega328_family(part)) return analog ? "ADC0, ADC1, ... or a port pin" : "PA0, PA1, ...";
  return analog ? "ADC0 to ADC7 (PC0 to PC5 are ADC0 to ADC5), AIN0 (PD6), AIN1 (PD7)"
                : "PB0 to PB5, PC0 to PC5, PD0 to PD7";
}

}  // namespace stillrotor
