#include "io/mcu/mcu.hpp"

#include <fmt/core.h>

#include <cmath>
#include <vector>

#include "io/mcu/microcontroller.hpp"
#include "io/mcu/parts/pin_names.hpp"

namespace stillrotor::io {
namespace {

using namespace mcu;

constexpr double lowest_Hz = 1e6, highest_Hz = 20e6;
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

double highest_clock_Hz(const SpeedGrade& grade, double supply_V) {
  if (supply_V >= grade.high_V) return grade.high_Hz;
  return std::lerp(grade.low_Hz, grade.high_Hz,
                   (supply_V - grade.low_V) / (grade.high_V - grade.low_V));
}

void check_supply(const Part& part, double supply_V, double clock_Hz) {
  const SpeedGrade& grade = part.speed;
  if (!(supply_V >= grade.low_V && supply_V <= grade.most_V))
    throw ConfigError("controller.supply",
                      fmt::format("supply is {:g} V; allowed with {}: {} V to {} V.", supply_V,
                                  part.name, grade.low_V, grade.most_V));
  const double allowed_Hz = highest_clock_Hz(grade, supply_V);
  if (clock_Hz > allowed_Hz * (1 + 1e-9))
    throw ConfigError(
        "controller.clock",
        fmt::format("clock is {:g} MHz; at {:g} V {} runs up to {:.1f} MHz. Lower the "
                    "clock or raise controller.supply.",
                    clock_Hz / 1e6, supply_V, part.name, allowed_Hz / 1e6));
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

Connections connect(const McuConfig& config, const Part& part) {
  Connections connections;
  Occupied occupied;
  for (std::size_t i = 0; i < line_count; ++i) {
    const std::string& text = config.line_pins[i];
    if (text.empty()) continue;
    const auto path = fmt::format("harness.{}", name(LineId{static_cast<std::uint16_t>(i)}));
    const auto pin = find_pin(part, text);
    if (!pin)
      throw ConfigError(path, fmt::format("pin is {}; allowed on {}: {}. Crystal and reset keep "
                                          "theirs.",
                                          text, part.name, allowed_pins(part)));
    occupied.take(*pin, text, path);
    connections.lines[i] = pin;
  }
  for (std::size_t i = 0; i < channel_count; ++i) {
    const std::string& text = config.adc_pins[i];
    if (text.empty()) continue;
    const ChannelId channel{static_cast<std::uint16_t>(i)};
    const auto path = fmt::format("harness.channels.{}", name(channel));
    const auto found = find_analog_input(part, text);
    if (!found)
      throw ConfigError(path, fmt::format("analog pin is {}; allowed on {}: {}.", text, part.name,
                                          allowed_analog_inputs(part)));
    const unsigned input = *found;
    if (const auto& pin = part.pins.analog[input]) occupied.take(*pin, text, path);
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
  const Part* part = find_part(config.part);
  if (part == nullptr)
    throw ConfigError("controller.part",
                      fmt::format("part is {}; allowed: {}.", config.part, part_names()));
  const std::uint32_t clock_Hz = checked_clock(config.clock_Hz);
  check_supply(*part, config.supply_V, config.clock_Hz);
  Connections connections = connect(config, *part);
  connections.comparator_hysteresis_V = checked_hysteresis(config.comparator_hysteresis_V);
  const Firmware firmware = load_firmware(config.firmware, *part);
  return std::make_unique<Microcontroller>(*part, clock_Hz, connections, firmware, config.settings);
}

}  // namespace stillrotor::io
