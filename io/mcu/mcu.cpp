#include "io/mcu/mcu.hpp"

#include <fmt/core.h>

#include <cmath>
#include <vector>

#include "io/mcu/atmega328p.hpp"
#include "io/mcu/pin_names.hpp"

namespace stillrotor::io {
namespace {

using namespace mcu;

constexpr double lowest_Hz = 1e6, highest_Hz = 20e6;
constexpr double lowest_V = 2.7, highest_V = 5.5;
constexpr double highest_hysteresis_V = 50e-3;

std::uint32_t checked_clock(double clock_Hz) {
  constexpr std::int64_t ps_per_s = 1'000'000'000'000;
  const bool in_range = clock_Hz >= lowest_Hz && clock_Hz <= highest_Hz;
  const auto whole = static_cast<std::int64_t>(in_range ? std::llround(clock_Hz) : 0);
  if (!in_range || static_cast<double>(whole) != clock_Hz || ps_per_s % whole != 0)
    throw ConfigError(
        "controller.clock",
        fmt::format("clock is {:g} MHz; allowed 1 MHz to 20 MHz with a period of whole "
                    "picoseconds: 1, 2, 4, 8, 10, 16 or 20 MHz.",
                    clock_Hz / 1e6));
  return static_cast<std::uint32_t>(whole);
}

/// Datasheet, Speed Grades: 10 MHz at 2.7 V, rising in a straight line to 20 MHz at 4.5 V.
void check_supply(double supply_V, double clock_Hz) {
  if (!(supply_V >= lowest_V && supply_V <= highest_V))
    throw ConfigError("controller.supply", fmt::format("supply is {:g} V; allowed {} V to {} V.",
                                                       supply_V, lowest_V, highest_V));
  const double allowed_Hz = std::min(20e6, 10e6 + (supply_V - 2.7) / 1.8 * 10e6);
  if (clock_Hz > allowed_Hz * (1 + 1e-9))
    throw ConfigError("controller.clock",
                      fmt::format("clock is {:g} MHz; at {:g} V this part runs up to {:.1f} MHz. "
                                  "Lower the clock or raise controller.supply.",
                                  clock_Hz / 1e6, supply_V, allowed_Hz / 1e6));
}

/// None at all would let equal inputs flip with each rounding error.
double checked_hysteresis(double hysteresis_V) {
  if (!(hysteresis_V > 0.0 && hysteresis_V <= highest_hysteresis_V))
    throw ConfigError("controller.comparator_hysteresis",
                      fmt::format("hysteresis is {:g} mV; allowed above 0 mV, up to {:g} mV.",
                                  hysteresis_V * 1e3, highest_hysteresis_V * 1e3));
  return hysteresis_V;
}

/// Each pin carries one signal.
class Occupied {
 public:
  void take(Pin pin, std::string_view text, const std::string& path) {
    for (const auto& [taken, owner] : taken_)
      if (taken == pin)
        throw ConfigError(path, fmt::format("pin {} already carries {}. Give each signal a pin of "
                                            "its own.",
                                            text, owner));
    taken_.emplace_back(pin, path);
  }

 private:
  std::vector<std::pair<Pin, std::string>> taken_;
};

Connections connect(const McuConfig& config) {
  Connections connections;
  Occupied occupied;
  for (std::size_t i = 0; i < line_count; ++i) {
    const std::string& text = config.line_pins[i];
    if (text.empty()) continue;
    const auto path = fmt::format("harness.{}", name(LineId{static_cast<std::uint16_t>(i)}));
    const Pin pin = parse_pin(text, path);
    occupied.take(pin, text, path);
    connections.lines[i] = pin;
  }
  for (std::size_t i = 0; i < channel_count; ++i) {
    const std::string& text = config.adc_pins[i];
    if (text.empty()) continue;
    const ChannelId channel{static_cast<std::uint16_t>(i)};
    const auto path = fmt::format("harness.channels.{}", name(channel));
    const unsigned input = parse_analog_input(text, path);
    if (const auto pin = pin_of_analog_input(input)) occupied.take(*pin, text, path);
    if (connections.analog[input])
      throw ConfigError(path,
                        fmt::format("analog pin {} already carries {}. Give each signal a pin "
                                    "of its own.",
                                    text, name(*connections.analog[input])));
    connections.analog[input] = channel;
  }
  return connections;
}

}  // namespace

std::unique_ptr<SimulatedController> make_mcu(const McuConfig& config) {
  if (config.part != "atmega328p")
    throw ConfigError("controller.part",
                      fmt::format("part is {}; allowed: atmega328p.", config.part));
  const std::uint32_t clock_Hz = checked_clock(config.clock_Hz);
  check_supply(config.supply_V, config.clock_Hz);
  Connections connections = connect(config);
  connections.comparator_hysteresis_V = checked_hysteresis(config.comparator_hysteresis_V);
  const Firmware firmware = load_firmware(
      config.firmware, {config.part, Atmega328p::flash_bytes, Atmega328p::eeprom_bytes});
  return std::make_unique<Atmega328p>(clock_Hz, connections, firmware);
}

}  // namespace stillrotor::io
