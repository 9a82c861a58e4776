#include "emulator/coprocessor/chip_of_bench.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <variant>

namespace stillrotor {

io::ChipSettings chip_of(const Bench& bench) {
  const auto* link = std::get_if<io::LinkConfig>(&bench.controller);
  if (link == nullptr)
    throw io::ConfigError("controller.backend",
                          fmt::format("controller.backend is {}; allowed here: link, whose chip "
                                      "this program is.",
                                      bench.backend));
  io::ChipSettings chip;
  chip.tick_Hz = static_cast<std::uint32_t>(std::lround(link->tick_Hz));
  chip.jitter_ps = static_cast<std::uint32_t>(std::lround(link->stamp_jitter_s * 1e12));
  chip.pulled_up = 0;
  for (std::uint16_t k = 0; k < io::line_count; ++k) {
    const LineHarness& wire = bench.harness.lines[k];
    const bool is_switch = io::LineId{k} >= io::line::key && io::LineId{k} <= io::line::reverse;
    if (!wire.active_high && !is_switch) chip.inverted |= 1U << k;
    if (wire.pull == Pull::up || (is_switch && !wire.active_high)) chip.pulled_up |= 1U << k;
  }
  const int most = *std::max_element(link->channels.begin(), link->channels.end());
  chip.channels.resize(static_cast<std::size_t>(most + 1));
  for (std::uint16_t k = 0; k < io::channel_count; ++k) {
    if (link->channels[k] < 0) continue;
    auto& channel = chip.channels[static_cast<std::size_t>(link->channels[k])];
    channel.at = io::ChannelId{k};
    channel.volts_per_code = std::ldexp(link->converter_V, -link->converter_bits);
    // As converters for both signs begin: in the middle.
    channel.reset_code = 1U << (link->converter_bits - 1);
  }
  chip.key_supply_V = bench.controller_supply_V;
  chip.key_low_is_on = !bench.harness.lines[io::index(io::line::key)].active_high;
  return chip;
}

}  // namespace stillrotor
