#include "io/mcu/cortexm/wiring.hpp"

#include <fmt/core.h>

#include "io/mcu/cortexm/pin_names.hpp"

namespace stillrotor::io::cortexm {
namespace {

/// A partner shares pins with other partners, and its clock with an absolute angle sensor.
void connect_partners(const McuConfig& config, const ChipPart& part, Wires& wires) {
  const auto connect_all = [&](const char* partner, std::vector<PinId>& pins,
                               std::initializer_list<std::pair<const char*, std::string>> all) {
    for (const auto& [name, text] : all) {
      const std::string path = fmt::format("controller.partners.{}.{}", partner, name);
      const auto pin = find_pin(part, text);
      if (!pin)
        throw ConfigError(path, fmt::format("pin is \"{}\"; allowed on {}: {}. Give each of its "
                                            "wires a pin.",
                                            text, part.name, allowed_pins(part)));
      const auto line = wires.at[pin->port][pin->number];
      if ((line && *line != line::angle_clock) || wires.channel[pin->port][pin->number])
        throw ConfigError(path, fmt::format("pin {} carries a signal of the bench. Give it another "
                                            "pin.",
                                            text));
      pins.push_back(*pin);
    }
  };
  const PartnersConfig& p = config.partners;
  if (p.eeprom.fitted())
    connect_all("eeprom", wires.eeprom, {{"clock", p.eeprom.clock}, {"data", p.eeprom.data}});
  if (p.gate_driver.fitted())
    connect_all("gate_driver", wires.gate_driver,
                {{"clock", p.gate_driver.clock},
                 {"in", p.gate_driver.in},
                 {"out", p.gate_driver.out},
                 {"select", p.gate_driver.select}});
}

}  // namespace

Wires connect(const McuConfig& config, const ChipPart& part) {
  Wires wires;
  const auto take = [&](PinId pin, const std::string& text, const std::string& path) {
    if (wires.at[pin.port][pin.number] || wires.channel[pin.port][pin.number])
      throw ConfigError(path,
                        fmt::format("pin {} already carries another signal. Give each signal a "
                                    "pin of its own.",
                                    text));
  };
  for (std::size_t i = 0; i < line_count; ++i) {
    const std::string& text = config.line_pins[i];
    if (text.empty()) continue;
    const LineId line{static_cast<std::uint16_t>(i)};
    const auto path = fmt::format("harness.{}", name(line));
    const auto pin = find_pin(part, text);
    if (!pin)
      throw ConfigError(
          path, fmt::format("pin is {}; allowed on {}: {}.", text, part.name, allowed_pins(part)));
    take(*pin, text, path);
    wires.lines[i] = pin;
    wires.at[pin->port][pin->number] = line;
  }
  for (std::size_t i = 0; i < channel_count; ++i) {
    const std::string& text = config.adc_pins[i];
    if (text.empty()) continue;
    const ChannelId channel{static_cast<std::uint16_t>(i)};
    const auto path = fmt::format("harness.channels.{}", name(channel));
    const auto pin = find_analog_pin(part, text);
    if (!pin)
      throw ConfigError(path, fmt::format("analog pin is {}; allowed on {}: {}.", text, part.name,
                                          allowed_analog_pins(part)));
    take(*pin, text, path);
    wires.channel[pin->port][pin->number] = channel;
  }
  connect_partners(config, part, wires);
  return wires;
}

}  // namespace stillrotor::io::cortexm
