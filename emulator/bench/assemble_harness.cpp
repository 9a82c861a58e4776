// The harness's share of assemble(): which wires there are, and whether both of their ends exist.
#include <fmt/format.h>

#include <array>
#include <map>

#include "emulator/bench/parameter_table.hpp"
#include "emulator/bench/readings.hpp"
#include "emulator/bench/wire_sources.hpp"
#include "io/mcu/parts/part_pins.hpp"

namespace stillrotor {
namespace {

using io::ChannelId;
using io::LineId;

LineId line_id(std::size_t k) { return LineId(static_cast<std::uint16_t>(k)); }
ChannelId channel_id(std::size_t k) { return ChannelId(static_cast<std::uint16_t>(k)); }

std::string line_path(LineId line) {
  const std::string_view name = io::name(line);
  return name.find('.') != std::string_view::npos ? fmt::format("harness.{}", name)
                                                  : fmt::format("harness.lines.{}.pin", name);
}

constexpr std::string_view missing_sensor =
    "the bench has no such sensor. Fit it below sensors, or remove the wire.";

std::string_view missing_source(LineId line) {
  if (line == io::line::contactor)
    return "the controller closes no contactor here. Write contactor.driven_by: controller, or "
           "remove the wire.";
  if (line == io::line::brake_chopper)
    return "the controller switches no brake resistor here. Write chopper.driven_by: controller "
           "and its resistance, or remove the wire.";
  if (line == io::line::command_pulse)
    return "the bench sends no command pulse. Write controls.command_pulse.fitted: on, or remove "
           "the wire.";
  if (line == io::line::lamp)
    return "the co-processor brings the six gates in only. Remove the wire.";
  return missing_sensor;
}

/// Every pin exists, has something at its other end, and takes one wire only.
void check_pins(Readings& readings, const Draft& draft, Problems& problems) {
  namespace mcu = io::mcu;
  const auto part = mcu::pins_of(draft.mcu.part);
  if (!part) {
    problems.add(readings.at("controller.part").place,
                 fmt::format("controller.part is {}; allowed {}. Name the part that the firmware "
                             "was built for.",
                             draft.mcu.part, mcu::simulated_parts()));
    return;
  }
  std::map<std::string, std::string> taken;
  const auto check = [&](const std::string& path, const std::string& pin, bool analog,
                         std::string_view fault) {
    if (pin.empty()) return;
    const Place& place = readings.at(path).place;
    const std::string physical = part->physical(pin);
    if (analog ? !part->is_analog(pin) : !part->is_line(pin))
      problems.add(place, fmt::format("{} is {}; allowed on {}: {}. Check the wiring list.", path,
                                      pin, part->part, analog ? part->analog : part->lines));
    else if (const auto [other, fresh] = taken.emplace(physical, path); !fresh)
      problems.add(place, fmt::format("{} is {}, which {} has already; allowed one wire a pin. "
                                      "Move one of them.",
                                      path, pin, other->second));
    if (!fault.empty()) problems.add(place, fmt::format("{} is {}, but {}", path, pin, fault));
  };
  for (std::size_t k = 0; k < io::line_count; ++k)
    check(line_path(line_id(k)), draft.line[k].pin, false,
          has_source(draft, line_id(k)) ? "" : missing_source(line_id(k)));
  for (std::size_t k = 0; k < io::channel_count; ++k)
    check(fmt::format("harness.channels.{}.pin", io::name(channel_id(k))), draft.channel_pin[k],
          true, has_source(draft, channel_id(k)) ? "" : missing_sensor);
}

/// A wire of a controller on real wires ends at a line, a gate's perhaps at a converter.
bool ends_somewhere(const Draft& draft, LineId line) {
  return draft.line[io::index(line)].wired() ||
         (io::is_gate(line) && draft.converters.gate[io::index(line)].wired());
}

/// Every wire has an end here and something at the other, and the gates are all there.
void check_wires(Readings& readings, const Draft& draft, Problems& problems) {
  const bool gpiod = draft.backend == 3;
  const auto wires = static_cast<io::GateWires>(draft.wires.gates);
  std::map<std::string, std::string> taken;
  const auto check = [&](const std::string& path, const WireDraft& wire) {
    if (!wire.wired())
      for (const char* row : {"bias", "inverted", "drive", "safe"})
        if (const std::string of_a_line = fmt::format("{}.{}", path, row);
            find_parameter(of_a_line) != nullptr)
          readings.hide_default(of_a_line);
    const Place& place =
        readings.at(path + (wire.name.empty() || !gpiod ? ".offset" : ".name")).place;
    if (!wire.wired()) {
      if (!wire.chip.empty())
        problems.add(readings.at(path + ".chip").place,
                     fmt::format("{}.chip is {}, and no line of it is named; allowed chip with "
                                 "offset or name. Add {}.offset.",
                                 path, wire.chip, path));
      return;
    }
    if (gpiod && wire.offset >= 0 && !wire.name.empty())
      problems.add(place, fmt::format("{} has an offset and a name; allowed one of them. Remove "
                                      "one.",
                                      path));
    else if (gpiod && wire.offset >= 0 && wire.chip.empty())
      problems.add(place, fmt::format("{}.offset is {}, and no chip is named; allowed beside it a "
                                      "chip's device, name or label. Add {}.chip; `gpiodetect` "
                                      "shows them.",
                                      path, wire.offset, path));
    if (!gpiod && wire.offset > 31)
      problems.add(place,
                   fmt::format("{}.offset is {}; allowed with polled: 0 to 31, the bits of a "
                               "register.",
                               path, wire.offset));
    const std::string line = gpiod && !wire.name.empty()
                                 ? fmt::format("{} {}", wire.chip, wire.name)
                                 : fmt::format("{}/{}", wire.chip, wire.offset);
    if (const auto [other, fresh] = taken.emplace(line, path); !fresh)
      problems.add(place, fmt::format("{} is the line that {} has already; allowed one wire a "
                                      "line. Move one of them.",
                                      path, other->second));
  };
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const std::string path = fmt::format("harness.lines.{}", io::name(line_id(k)));
    const WireDraft& wire = draft.line[k];
    check(path, wire);
    const Place& place = readings.at(path + ".offset").place;
    const bool there = ends_somewhere(draft, line_id(k));
    if (io::is_gate(line_id(k)) && io::uses(wires, static_cast<std::uint16_t>(k)) != there)
      problems.add(place, fmt::format("{} is {}; allowed with controller.gate_wires six and "
                                      "three_and_enable: all six, with three: UH, VH, WH. {}.",
                                      path, there ? "wired" : "not wired",
                                      there ? "Remove it, or change gate_wires"
                                            : "Give its chip and offset, or its name"));
    if (wire.wired() && !has_source(draft, line_id(k)))
      problems.add(place, fmt::format("{} is wired, but {}", path, missing_source(line_id(k))));
  }
  for (std::size_t k = 0; k < io::channel_count; ++k)
    if (const std::string path = fmt::format("harness.channels.{}", io::name(channel_id(k)));
        draft.converters.channel[k].wired() && !has_source(draft, channel_id(k)))
      problems.add(readings.at(path + ".converter").place,
                   fmt::format("{} is wired, but {}", path, missing_sensor));
  check("harness.stop_circuit", draft.stop_circuit);
  check("harness.bus_dead", draft.bus_dead);
  check("harness.watchdog", draft.watchdog);
}

/// What the bench leaves to the controller, the controller must be able to do.
void check_driven(Readings& readings, const Draft& draft, Problems& problems) {
  constexpr struct {
    LineId line;
    const char *path, *else_by;
  } left[] = {{io::line::contactor, "contactor.driven_by", "key"},
              {io::line::brake_chopper, "chopper.driven_by", "itself"}};
  for (const auto& [line, path, else_by] : left) {
    if (!has_source(draft, line)) continue;
    const Place& place = readings.at(path).place;
    if (draft.bench.backend == "capture")
      problems.add(place, fmt::format("{} is controller, and a replay drives the six gates only; "
                                      "allowed beside it: {}. Change it.",
                                      path, else_by));
    else if (draft.bench.backend == "mcu" && draft.line[io::index(line)].pin.empty())
      problems.add(place, fmt::format("{} is controller, but no pin drives the line {}. Wire it: "
                                      "{}; or write {}.",
                                      path, io::name(line), line_path(line), else_by));
    else if (on_link(draft))
      problems.add(place, fmt::format("{} is controller, and the co-processor brings the six gates "
                                      "in only; allowed beside it: {}. Change it.",
                                      path, else_by));
    else if (on_lines(draft) && !draft.line[io::index(line)].wired())
      problems.add(place,
                   fmt::format("{} is controller, but no wire brings the line {} in. Wire it: "
                               "harness.lines.{}; or write {}.",
                               path, io::name(line), io::name(line), else_by));
  }
}

}  // namespace

bool on_chip(const Draft&, LineId line) {
  return io::is_gate(line) || (line >= io::line::hall_U && line <= io::line::reverse) ||
         line == io::line::driver_fault;
}

/// Is there something at the bench's end of this wire?
bool has_source(const Draft& draft, LineId line) {
  const auto& drive = draft.bench.drive;
  const plant::AngleOutput angle = drive.absolute_angle.output;
  if (line == io::line::angle_data) return angle != plant::AngleOutput::none;
  if (line == io::line::angle_clock)
    return angle == plant::AngleOutput::ssi || angle == plant::AngleOutput::spi;
  const plant::GateDriverParameters& driver = drive.gate_driver;
  if (line == io::line::driver_fault) return driver.trip_A > 0.0 || driver.undervoltage_V > 0.0;
  if (line == io::line::driver_enable)
    return (draft.backend == 0 || draft.backend == 5 || on_lines(draft)) &&
           plant::GateDriver(driver).fitted();
  if (line == io::line::lamp) return draft.backend == 0 || draft.backend == 5 || on_lines(draft);
  if (line == io::line::contactor) return drive.contactor.fitted && draft.contactor_driven_by == 1;
  if (line == io::line::brake_chopper)
    return drive.chopper.resistance_ohm > 0.0 && draft.chopper_driven_by == 1;
  if (line == io::line::command_pulse) return draft.bench.controls.pulse.fitted;
  if (line == io::line::angle_select) return angle == plant::AngleOutput::spi;
  if (line >= io::line::hall_U && line <= io::line::hall_W) return drive.hall.fitted;
  if (line >= io::line::encoder_A && line <= io::line::encoder_Z) return drive.encoder.fitted;
  return true;
}

bool has_source(const Draft& draft, ChannelId channel) {
  const plant::DriveParameters& drive = draft.bench.drive;
  const auto lies = [channel](ChannelId first, ChannelId last) {
    return channel >= first && channel <= last;
  };
  if (lies(io::channel::phase_current_U, io::channel::phase_current_W))
    return drive.phase_current.kind != plant::CurrentSensing::none &&
           drive.phase_current.fitted[io::index(channel) - io::index(io::channel::phase_current_U)];
  if (channel == io::channel::dc_link_current)
    return drive.dc_link_current.kind != plant::CurrentSensing::none;
  if (lies(io::channel::phase_voltage_U, io::channel::phase_voltage_W) ||
      channel == io::channel::star_point)
    return drive.phase_voltage.fitted;
  if (lies(io::channel::angle_sin, io::channel::angle_cos)) return drive.sin_cos.fitted;
  if (lies(io::channel::temperature_motor, io::channel::temperature_bridge))
    return drive.temperature[io::index(channel) - io::index(io::channel::temperature_motor)].kind !=
           plant::TemperatureSensing::none;
  return true;
}

void assemble_harness(Readings& readings, Draft& draft, Problems& problems) {
  const bool mcu = draft.backend == 0;
  if (mcu) check_pins(readings, draft, problems);
  if (on_lines(draft)) check_wires(readings, draft, problems);
  check_driven(readings, draft, problems);
  Harness& harness = draft.bench.harness;
  Reading& pull = readings.at("harness.gates.pull");
  if (pull.state != Reading::State::given && pull.applies) {
    draft.gates_pull = static_cast<int>(draft.gates_active_high != 0 ? Pull::down : Pull::up);
    pull.state = Reading::State::derived;
  }
  for (std::size_t k = 0; k < io::line_count; ++k) {
    const LineId id = line_id(k);
    LineHarness& line = harness.lines[k];
    line.connected = has_source(draft, id) && (!mcu || !draft.line[k].pin.empty()) &&
                     (!on_lines(draft) || ends_somewhere(draft, id)) &&
                     (!on_link(draft) || on_chip(draft, id));
    if (io::is_gate(id)) {
      line.active_high = draft.gates_active_high != 0;
      line.pull = pull.applies ? static_cast<Pull>(draft.gates_pull) : Pull::down;
    } else if (id >= io::line::hall_U && id <= io::line::hall_W) {
      line.active_high = draft.hall_active_high != 0;
      line.pull = draft.hall_pull_up_V > 0.0 ? Pull::up : Pull::none;
    } else {
      line.active_high = draft.line[k].active_high != 0;
      // Open drain, or an output that is off until it is driven.
      if (id >= io::line::driver_fault) line.pull = line.active_high ? Pull::down : Pull::up;
    }
  }
  if (draft.bench.controller_stays_supplied && !harness.lines[io::index(io::line::key)].connected)
    problems.add(
        readings.at("controller.stays_supplied").place,
        "controller.stays_supplied is on, but no wire brings the line key, so that the key "
        "would do nothing. Wire it: harness.lines.key; or write off.");
  for (std::size_t k = 0; k < io::channel_count; ++k)
    harness.channels[k] = has_source(draft, channel_id(k)) &&
                          (!mcu || !draft.channel_pin[k].empty()) &&
                          (!on_lines(draft) || draft.converters.channel[k].wired()) &&
                          (!on_link(draft) || draft.link.channels[k] >= 0);
}

}  // namespace stillrotor
