#include "emulator/wiring_plan/wiring_plan.hpp"

#include <fmt/format.h>

#include <optional>
#include <variant>

#include "io/analog/calibration.hpp"

namespace stillrotor {
namespace {

std::string controller_pin(const Bench& bench, io::LineId line) {
  const auto* mcu = std::get_if<io::McuConfig>(&bench.controller);
  const std::string pin = mcu != nullptr ? mcu->line_pins[io::index(line)] : "";
  return pin.empty() ? "-" : pin;
}
std::string controller_pin(const Bench& bench, io::ChannelId channel) {
  const auto* mcu = std::get_if<io::McuConfig>(&bench.controller);
  const std::string pin = mcu != nullptr ? mcu->adc_pins[io::index(channel)] : "";
  return pin.empty() ? "-" : pin;
}

/// A converter and its pin that this wire ends at; nothing: it ends at none.
std::optional<std::string> converter_pin(const Bench& bench, io::ChannelId channel) {
  if (const auto* link = std::get_if<io::LinkConfig>(&bench.controller))
    return fmt::format("co-processor channel {}", link->channels[io::index(channel)]);
  const io::AnalogConfig& analog = bench.analog;
  for (const io::SpiDacConfig& dac : analog.dacs)
    for (const io::AnalogOutput& output : dac.outputs)
      if (output.channel == channel)
        return fmt::format("{} output {} ({})", dac.name, output.address, dac.part.name);
  return std::nullopt;
}
const io::AnalogInput* filtered_input(const io::AnalogConfig& analog, io::LineId line,
                                      std::string& pin) {
  const auto look = [&](const auto& converter, const std::string& part) -> const io::AnalogInput* {
    for (const io::AnalogInput& input : converter.inputs)
      if (input.name == io::name(line)) {
        pin = fmt::format("{} input {} ({})", converter.name, input.address, part);
        return &input;
      }
    return nullptr;
  };
  for (const io::SpiAdcConfig& adc : analog.adcs)
    if (const auto* found = look(adc, adc.part.name)) return found;
  for (const io::IioConfig& iio : analog.iio)
    if (const auto* found = look(iio, iio.device)) return found;
  return nullptr;
}

/// "0 to 5 V, safe 2.5 V"
std::string level(const Bench& bench, io::ChannelId channel) {
  for (const io::SpiDacConfig& dac : bench.analog.dacs)
    for (const io::AnalogOutput& output : dac.outputs)
      if (output.channel == channel) {
        const io::OutputScale scale(dac, output);
        return fmt::format("{:.4g} to {:.4g} V, safe {:.4g} V", scale.least_V(), scale.most_V(),
                           output.safe_V);
      }
  if (const auto* link = std::get_if<io::LinkConfig>(&bench.controller))
    return fmt::format("0 to {:g} V", link->converter_V);
  return fmt::format("0 to {:g} V", bench.controller_supply_V);
}

std::string bench_pin(const Bench& bench, io::LineId line) {
  std::string end = bench_end(bench.controller, line);
  return end.empty() ? "simulated" : end;
}

std::string level(const LineHarness& line) {
  std::string text = line.active_high ? "on is high" : "on is low";
  if (line.pull == Pull::up) text += ", pulled up";
  if (line.pull == Pull::down) text += ", pulled down";
  return text;
}

/// Common practice; docs/wiring-and-safety.md.
std::string protection(io::LineId line, const LineHarness& harness) {
  if (io::is_gate(line)) return "1 kohm in series; 10 kohm to ground at the controller";
  if (io::from_controller(line)) return "1 kohm in series";
  return harness.pull == Pull::up ? "1 kohm in series; 4.7 kohm to the controller's supply"
                                  : "1 kohm in series";
}

WiringPlan titled(const Bench& bench) {
  WiringPlan plan;
  plan.title = bench.name;
  plan.simulated = !std::holds_alternative<io::GpiodConfig>(bench.controller) &&
                   !std::holds_alternative<io::PolledConfig>(bench.controller) &&
                   !std::holds_alternative<io::LinkConfig>(bench.controller);
  plan.cautions = {
      "The power stage stays disconnected: this bench takes its place. Nothing here is a safety "
      "function.",
      fmt::format("Controller logic at {:g} V: shift levels where the computer's pins stand less.",
                  bench.controller_supply_V),
      "No output may drive a controller without supply. Local codes and licensed practice decide."};
  return plan;
}

}  // namespace

WiringPlan wiring_plan(const Bench& bench) {
  WiringPlan plan = titled(bench);
  for (std::uint16_t k = 0; k < io::line_count; ++k) {
    const io::LineId line{k};
    const LineHarness& harness = bench.harness.lines[k];
    if (!harness.connected) continue;
    if (std::string pin; const io::AnalogInput* input = filtered_input(bench.analog, line, pin)) {
      plan.wires.push_back({std::string(io::name(line)), false, pin, controller_pin(bench, line),
                            level(harness),
                            fmt::format("R and C of {:g} ms; 10 kohm to ground at the controller",
                                        1e3 * input->filter_s)});
      continue;
    }
    plan.wires.push_back({std::string(io::name(line)), !io::from_controller(line),
                          bench_pin(bench, line), controller_pin(bench, line), level(harness),
                          protection(line, harness)});
  }
  for (std::uint16_t k = 0; k < io::channel_count; ++k) {
    if (!bench.harness.channels[k]) continue;
    const io::ChannelId channel{k};
    plan.wires.push_back({std::string(io::name(channel)), true,
                          converter_pin(bench, channel).value_or("simulated"),
                          controller_pin(bench, channel), level(bench, channel),
                          "1 kohm in series; 1 nF to ground at the controller"});
  }
  return plan;
}

}  // namespace stillrotor
