#include <fmt/format.h>

#include <functional>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

const std::vector<std::string> polarity{"low", "high"};

Parameter pin(std::string path, Access<std::string> at, const Wanted& wanted, std::string what) {
  return text(std::move(path), std::move(at), "a pin of the microcontroller", wanted,
              std::move(what), role::mcu);
}

/// The bench's end of a wire.
void add_bench_end(std::vector<Parameter>& all, const std::string& path,
                   const std::function<WireDraft&(Draft&)>& wire, bool driven_by_bench) {
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
  add(text(
      path + ".chip", [wire](Draft& d) -> std::string& { return wire(d).chip; },
      "a chip's device, name or label", optional, "the GPIO chip, as gpiodetect shows it",
      role::gpiod));
  add(whole(
      path + ".offset", [wire](Draft& d) -> int& { return wire(d).offset; }, 0, 65'535, optional,
      "the line's number on its chip; polled: the bit of the registers", role::lines));
  add(text(
      path + ".name", [wire](Draft& d) -> std::string& { return wire(d).name; }, "a line's name",
      optional, "the line's name, as gpioinfo shows it, in place of chip and offset", role::gpiod));
  add(choice(
      path + ".bias", [wire](Draft& d) -> int& { return wire(d).bias; },
      {"as_is", "none", "pull_up", "pull_down"}, by_default("as_is"), "resistor inside the chip",
      role::gpiod));
  add(on_off(
      path + ".inverted", [wire](Draft& d) -> bool& { return wire(d).inverted; }, by_default("off"),
      "an inverting buffer stands between line and wire", role::lines));
  if (!driven_by_bench) return;
  add(choice(
      path + ".drive", [wire](Draft& d) -> int& { return wire(d).drive; },
      {"push_pull", "open_drain", "open_source"}, by_default("push_pull"),
      "how the bench holds the line", role::lines));
  add(choice(
      path + ".safe", [wire](Draft& d) -> int& { return wire(d).safe; },
      {"low", "high", "released"}, by_default("released"),
      "level of the wire at set-up, at the end, and when anything goes wrong", role::lines));
}

}  // namespace

std::vector<Parameter> harness_parameters() {
  std::vector<Parameter> all;
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const std::string_view name = io::name(io::LineId(static_cast<std::uint16_t>(k)));
    const Access<std::string> at = [k](Draft& d) -> std::string& { return d.line[k].pin; };
    if (name.find('.') != std::string_view::npos) {
      add(pin(fmt::format("harness.{}", name), at, k < io::gate_count ? required : optional,
              "the pin that this wire goes to"));
    } else {
      const bool driven = io::from_controller(io::LineId(static_cast<std::uint16_t>(k)));
      add(pin(fmt::format("harness.lines.{}.pin", name), at, optional,
              driven ? "the pin that switches it" : "the pin that this wire goes to"));
      add(choice(
          fmt::format("harness.lines.{}.active", name),
          [k](Draft& d) -> int& { return d.line[k].active_high; }, polarity, by_default("high"),
          driven ? "level of the pin that turns it on; not driven, it is off"
                 : "level of the wire while it is on",
          role::mcu | role::wired));
    }
  }
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const io::LineId id{static_cast<std::uint16_t>(k)};
    add_bench_end(
        all, fmt::format("harness.lines.{}", io::name(id)),
        [k](Draft& d) -> WireDraft& { return d.line[k]; }, !io::from_controller(id));
  }
  add_bench_end(
      all, "harness.stop_circuit", [](Draft& d) -> WireDraft& { return d.stop_circuit; }, false);
  add_bench_end(
      all, "harness.bus_dead", [](Draft& d) -> WireDraft& { return d.bus_dead; }, false);
  add_bench_end(
      all, "harness.watchdog", [](Draft& d) -> WireDraft& { return d.watchdog; }, true);
  add(choice("harness.gates.active", AT(gates_active_high), polarity, by_default("high"),
             "level that turns a switch of the bridge on",
             role::mcu | role::capture | role::wired));
  add(choice("harness.gates.pull", AT(gates_pull), {"none", "up", "down"},
             follows("the level that keeps the switches off"),
             "resistor at the gate drivers' inputs, for the time when no pin drives them",
             role::mcu | role::capture | role::wired));
  add(choice("harness.hall.active", AT(hall_active_high), polarity, by_default("high"),
             "low: an inverting buffer stands between the Halls and the pins"));
  add(real("harness.hall.pull_up", AT(hall_pull_up_V), Family::voltage, between("0 V", "30 V"),
           by_default("5 V"), "what an open Hall line is pulled up to; 0 V: no pull-up"));
  add(choice("harness.angle.select_active", AT(line[io::index(io::line::angle_select)].active_high),
             polarity, by_default("low"), "level that selects an absolute angle sensor",
             role::mcu | role::wired));
  add(choice("harness.driver.fault_active", AT(line[io::index(io::line::driver_fault)].active_high),
             polarity, by_default("low"),
             "level of the driver's fault line while it has one; low: "
             "open drain with a pull-up",
             role::mcu | role::wired));
  add(choice("harness.driver.enable_active",
             AT(line[io::index(io::line::driver_enable)].active_high), polarity, by_default("high"),
             "level that enables the gate driver; not driven, it does not",
             role::mcu | role::wired));
  for (std::size_t k = 0; k < io::channel_count; ++k)
    add(pin(
        fmt::format("harness.channels.{}.pin",
                    io::name(io::ChannelId(static_cast<std::uint16_t>(k)))),
        [k](Draft& d) -> std::string& { return d.channel_pin[k]; }, optional,
        "the analog input that this channel goes to"));
  add(real("harness.channels.bus_voltage.divider", AT(bench.drive.bus_voltage.ratio), Family::ratio,
           above("0", "1"), by_default("1/20"), "volts at the pin per volt of the bus"));
  add(real(
      "harness.channels.phase_voltage.divider", AT(bench.drive.phase_voltage.ratio), Family::ratio,
      above("0", "1"), by_default("1/20"),
      "volts at the pin per volt of a terminal, and at the star point per volt of their mean"));
  return all;
}

}  // namespace stillrotor
