#include "emulator/wiring_plan/wiring_plan.hpp"

#include <fmt/format.h>

#include <variant>

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
                   !std::holds_alternative<io::PolledConfig>(bench.controller);
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
    plan.wires.push_back({std::string(io::name(line)), !io::from_controller(line),
                          bench_pin(bench, line), controller_pin(bench, line), level(harness),
                          protection(line, harness)});
  }
  for (std::uint16_t k = 0; k < io::channel_count; ++k) {
    if (!bench.harness.channels[k]) continue;
    const io::ChannelId channel{k};
    plan.wires.push_back({std::string(io::name(channel)), true, "simulated",
                          controller_pin(bench, channel),
                          fmt::format("0 to {:g} V", bench.controller_supply_V),
                          "1 kohm in series; 1 nF to ground at the controller"});
  }
  return plan;
}

}  // namespace stillrotor
