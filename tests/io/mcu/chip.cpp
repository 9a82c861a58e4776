#include "tests/io/mcu/chip.hpp"

#include <algorithm>

namespace stillrotor::io::test {

std::string firmware_file(const std::string& name) {
  return std::string(STILLROTOR_BUILD_DIR "/firmware/") + name + ".elf";
}

McuConfig usual_wiring(const std::string& firmware) {
  McuConfig config;
  config.firmware = firmware_file("test_" + firmware);
  const std::array gates = {"PD6", "PD2", "PD5", "PD4", "PB3", "PB0"};
  std::copy(gates.begin(), gates.end(), config.line_pins.begin());
  config.line_pins[index(line::hall_U)] = "PC0";
  config.line_pins[index(line::hall_V)] = "PC1";
  config.line_pins[index(line::hall_W)] = "PC2";
  config.adc_pins[index(channel::throttle)] = "ADC3";
  config.adc_pins[index(channel::phase_current_U)] = "ADC4";
  return config;
}

Chip::Chip(const McuConfig& config) : controller(make_mcu(config)) { wires.fill(Level::low); }

void Chip::run(Time until) {
  int standing_still = 0;
  while (now < until) {
    const Time reached = controller->run(std::min(until, now + look_ahead));
    ASSERT_GE(reached, now);
    standing_still = reached > now ? 0 : standing_still + 1;
    ASSERT_LT(standing_still, 1000) << "the controller does not let time pass";
    now = reached;
  }
}

void Chip::wire(LineId id, Level level) {
  wires[index(id)] = level;
  controller->deliver({now, id, level});
}

double Chip::volts(ChannelId id, Time at) noexcept {
  asked.push_back({at, id});
  return voltage(id, at);
}

std::optional<Time> Chip::crossing(const Comparison& comparison, bool was_true, Time from,
                                   Time to) noexcept {
  ++crossings_asked;
  const auto changed = [&](Time at) {
    const auto value = [&](const Potential& p) {
      return p.channel ? voltage(*p.channel, at) : p.volts;
    };
    return comparison.holds(value(comparison.plus), value(comparison.minus), was_true) != was_true;
  };
  if (changed(from)) return from;
  for (Time before = from; before < to;) {
    Time after = std::min(before + Time(ps_per_cycle), to);
    if (!changed(after)) {
      before = after;
      continue;
    }
    while (after - before > Time(1)) {
      const Time middle = before + (after - before) / 2;
      (changed(middle) ? after : before) = middle;
    }
    return after;
  }
  return std::nullopt;
}

std::vector<Chip::Step> Chip::steps(LineId id) const {
  std::vector<Step> result;
  for (const Edge& edge : edges)
    if (edge.line == id && edge.level != Level::released)
      result.push_back({cycles(edge.at), edge.level == Level::high});
  return result;
}

std::vector<std::int64_t> Chip::flanks(LineId id, bool high) const {
  std::vector<std::int64_t> result;
  bool before = false;
  for (const Step& step : steps(id)) {
    if (step.high == high && before != high) result.push_back(step.cycle);
    before = step.high;
  }
  return result;
}
std::vector<std::int64_t> Chip::rises(LineId id) const { return flanks(id, true); }
std::vector<std::int64_t> Chip::falls(LineId id) const { return flanks(id, false); }

Level Chip::last(LineId id) const {
  Level level = Level::released;
  for (const Edge& edge : edges)
    if (edge.line == id) level = edge.level;
  return level;
}

}  // namespace stillrotor::io::test
