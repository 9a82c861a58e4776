// Rows of the parameter table: a controller behind a timing co-processor.
#include <fmt/format.h>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

Parameter link_real(const char* name, Access<double> at, Family family, Range range, Wanted wanted,
                    std::string what) {
  return real(fmt::format("controller.link.{}", name), std::move(at), family, std::move(range),
              std::move(wanted), std::move(what), role::link);
}

std::vector<Parameter> the_chip() {
  return {
      text("controller.link.address", AT(link.address),
           "serial:DEVICE, udp:IP:PORT, tcp:IP:PORT or unix:PATH", required,
           "where the co-processor is", role::link),
      link_real("tick", AT(link.tick_Hz), Family::frequency, between("1 MHz", "1000 MHz"),
                by_default("25 MHz"), "of the chip's counter, which stamps everything"),
      link_real("step", AT(link.step_s), Family::time, between("500 ns", "100 us"),
                by_default("10 us"),
                "of the fast plant: as short as the chip can; 16 to 256 of its ticks"),
      link_real("settle", AT(link.settle_s), Family::time, between("0 s", "1 ms"),
                by_default("200 ns"),
                "from a step's end until its last edge has come through the capture"),
      link_real("silence", AT(link.silence_s), Family::time, between("1 ms", "1 s"),
                by_default("20 ms"), "after so long without a command its outputs go safe"),
      link_real("behind", AT(link.behind_s), Family::time, between("2 us", "10 ms"),
                by_default("200 us"), "lateness of its steps at which its outputs go safe"),
      link_real("report", AT(link.report_s), Family::time, between("50 us", "20 ms"),
                by_default("1 ms"), "from one report of currents to the next"),
      link_real("current_range", AT(link.current_range_A), Family::current,
                between("0 A", "10000 A"), by_default("0 A"),
                "that the chip's numbers must hold; 0 A: what the current sensors can show"),
      link_real("voltage_range", AT(link.voltage_range_V), Family::voltage,
                between("0 V", "10000 V"), by_default("0 V"),
                "that the chip's numbers must hold; 0 V: as the supply's voltage needs"),
      whole("controller.link.converter_bits", AT(link.converter_bits), 8, 16, by_default("12"),
            "of the chip's converter, all channels alike", role::link),
      link_real("converter_range", AT(link.converter_V), Family::voltage, between("0.5 V", "30 V"),
                by_default("5 V"), "from its lowest code to its highest and one, at the connector"),
      link_real("stamp_resolution", AT(link.stamp_resolution_s), Family::time,
                between("1 ns", "100 us"), follows("tick: one of them"),
                "of a gate edge's stamp, declared until the chip says it"),
      link_real("stamp_jitter", AT(link.stamp_jitter_s), Family::time, between("0 s", "100 us"),
                follows("stamp_resolution: as rounding makes it"),
                "of a gate edge's stamp, rms, declared until the chip says it"),
  };
}

std::vector<Parameter> this_end() {
  return {
      link_real("lead", AT(link.lead_s), Family::time, between("500 us", "50 ms"),
                by_default("3 ms"), "how far ahead of the clock the chip is told angle and supply"),
      link_real("broken_after", AT(link.broken_after_s), Family::time, between("5 ms", "60 s"),
                by_default("20 ms"), "so long without a frame, and the link counts as broken"),
      link_real("warm_up", AT(link.warm_up_s), Family::time, between("0 s", "600 s"),
                by_default("2 s"), "before a run, in which the chip's clock is learnt"),
      link_real("patience", AT(link.patience_s), Family::time, between("100 ms", "600 s"),
                by_default("5 s"), "until the chip has answered"),
  };
}

}  // namespace

std::vector<Parameter> link_parameters() {
  std::vector<Parameter> all = the_chip();
  for (Parameter& row : this_end()) all.push_back(std::move(row));
  for (std::size_t k = 0; k < io::channel_count; ++k)
    all.push_back(whole(
        fmt::format("harness.channels.{}.chip_channel",
                    io::name(io::ChannelId(static_cast<std::uint16_t>(k)))),
        [k](Draft& d) -> int& { return d.link.channels[k]; }, 0, CP_CHANNELS - 1, optional,
        "the channel of the co-processor's converter that this wire goes to", role::link));
  return all;
}

}  // namespace stillrotor
