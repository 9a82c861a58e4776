// The controller's and the harness's share of assemble().
#include <fmt/format.h>

#include <array>
#include <cmath>
#include <fstream>
#include <map>
#include <numbers>

#include "emulator/bench/pins.hpp"
#include "emulator/bench/readings.hpp"

namespace stillrotor {
namespace {

using io::ChannelId;
using io::LineId;

LineId line_id(std::size_t k) { return LineId(static_cast<std::uint16_t>(k)); }
ChannelId channel_id(std::size_t k) { return ChannelId(static_cast<std::uint16_t>(k)); }

/// Relative to the file that holds the value; on the command line, to the current folder.
std::filesystem::path resolve_path(const Reading& reading, const std::filesystem::path& build_dir) {
  std::string text = reading.written;
  constexpr std::string_view build = "${build}";
  if (const std::size_t at = text.find(build); at != std::string::npos)
    text.replace(at, build.size(), std::filesystem::absolute(build_dir).string());
  const std::filesystem::path folder =
      reading.place.line > 0 ? std::filesystem::path(*reading.place.file).parent_path() : ".";
  return std::filesystem::absolute(folder / text).lexically_normal();
}

/// The file's first bytes; a problem when it cannot be read.
std::string first_bytes(const Reading& reading, const std::filesystem::path& file,
                        std::string_view remedy, Problems& problems) {
  std::error_code error;
  std::string_view fault;
  if (!std::filesystem::exists(file, error))
    fault = "there is no such file";
  else if (!std::filesystem::is_regular_file(file, error))
    fault = "it is not a file";
  std::array<char, 4> bytes{};
  if (fault.empty()) {
    std::ifstream stream(file, std::ios::binary);
    stream.read(bytes.data(), bytes.size());
    if (stream.gcount() > 0) return {bytes.data(), static_cast<std::size_t>(stream.gcount())};
    fault = "it is empty or cannot be read";
  }
  problems.add(reading.place, fmt::format("{} is {}; {}. {}", reading.parameter->path,
                                          file.string(), fault, remedy));
  return {};
}

bool has_source(const Draft&, LineId);
bool on_wires(const Draft& draft) { return draft.backend >= 3; }

class ControllerAssembler {
 public:
  ControllerAssembler(Readings& readings, Draft& draft, Problems& problems)
      : readings_(readings), d_(draft), problems_(problems) {}

  void mcu(const std::filesystem::path& build_dir) {
    d_.mcu.supply_V = d_.bench.controller_supply_V;
    for (std::size_t k = 0; k < io::line_count; ++k) d_.mcu.line_pins[k] = d_.line[k].pin;
    for (std::size_t k = 0; k < io::channel_count; ++k) d_.mcu.adc_pins[k] = d_.channel_pin[k];
    if (Reading& firmware = readings_.at("controller.firmware"); !firmware.written.empty()) {
      d_.mcu.firmware = resolve_path(firmware, build_dir);
      d_.firmware = d_.mcu.firmware.string();
      const std::string bytes =
          first_bytes(firmware, d_.mcu.firmware,
                      "Build it: ./demo.sh, or cmake --build --preset release.", problems_);
      if (!bytes.empty() && bytes !=
                                "\x7f"
                                "ELF")
        problems_.add(firmware.place,
                      fmt::format("controller.firmware is {}; allowed an ELF file, and this does "
                                  "not start like one. Name the linker's output, not a hex or "
                                  "source file.",
                                  d_.mcu.firmware.string()));
    }
    d_.bench.controller_kind = d_.mcu.part;
    d_.bench.controller = d_.mcu;
  }

  void capture(const std::filesystem::path& build_dir) {
    if (Reading& file = readings_.at("controller.file"); !file.written.empty()) {
      d_.capture.file = resolve_path(file, build_dir);
      d_.capture_file = d_.capture.file.string();
      first_bytes(file, d_.capture.file, "Check the path; it counts from the bench file.",
                  problems_);
    }
    d_.bench.controller = d_.capture;
  }

  void gpiod() {
    io::GpiodConfig config;
    const auto line = [](const WireDraft& wire, bool inverted) {
      return io::GpiodLine{wire.chip,
                           wire.offset,
                           wire.name,
                           inverted,
                           static_cast<io::Bias>(wire.bias),
                           static_cast<io::Drive>(wire.drive),
                           static_cast<io::Level>(wire.safe)};
    };
    wires(config, line);
    d_.bench.controller = config;
  }

  void polled() {
    Reading& file = readings_.at("controller.registers.file");
    io::PolledConfig config;
    config.registers = d_.wires.registers;
    config.registers.file = d_.wires.registers_file;
    config.registers.base = d_.wires.base;
    if (!file.written.empty() && config.registers.file.is_relative())
      config.registers.file = resolve_path(file, {});
    d_.wires.registers_file = config.registers.file.string();
    believe("controller.gap_tolerance", d_.wires.gap_tolerance_s,
            d_.bench.expects.dead_time_s > 0.0 ? d_.bench.expects.dead_time_s : 1e-6);
    config.gap_tolerance_s = d_.wires.gap_tolerance_s;
    const auto line = [](const WireDraft& wire, bool inverted) {
      return io::PolledLine{wire.offset, inverted, static_cast<io::Drive>(wire.drive),
                            static_cast<io::Level>(wire.safe)};
    };
    wires(config, line);
    d_.bench.controller = config;
  }

  void standin() {
    scaling();
    switch (d_.kind) {
      case 0:
        six_step();
        break;
      case 1:
        field_oriented();
        break;
      default:
        volts_per_hertz();
        break;
    }
  }

 private:
  /// What comes in is told as on and off, what goes out as levels of the wire.
  void wires(auto& config, const auto& line) const {
    config.gates = static_cast<io::GateWires>(d_.wires.gates);
    config.dead_time_s = config.gates == io::GateWires::six ? 0.0 : d_.wires.dead_time_s;
    config.capture = d_.wires.capture;
    for (std::size_t k = 0; k < io::line_count; ++k) {
      const WireDraft& wire = d_.line[k];
      const int active_high = io::is_gate(line_id(k)) ? d_.gates_active_high : wire.active_high;
      config.lines[k] =
          line(wire, wire.inverted != (io::from_controller(line_id(k)) && active_high == 0));
    }
    config.stop_circuit = line(d_.stop_circuit, d_.stop_circuit.inverted);
    config.bus_dead = line(d_.bus_dead, d_.bus_dead.inverted);
    config.watchdog = line(d_.watchdog, d_.watchdog.inverted);
  }

  template <class T>
  void believe(std::string_view path, T& member, T truth) {
    Reading& reading = readings_.at(path);
    if (reading.state == Reading::State::given || !reading.applies) return;
    member = truth;
    reading.state = Reading::State::derived;
  }

  /// The controller counts current into the machine as positive; a low-side shunt sees it leave.
  void scaling() {
    const auto& sensor = d_.bench.drive.phase_current;
    const bool low_side = sensor.kind == plant::CurrentSensing::low_side_shunt;
    for (std::size_t k = 0; k < 3; ++k)
      if (sensor.kind != plant::CurrentSensing::none && !sensor.fitted[k])
        problems_.add(
            readings_.at(fmt::format("sensors.phase_current.fitted.{}", "UVW"[k])).place,
            fmt::format("sensors.phase_current.fitted.{} is off; allowed with a built-in "
                        "controller: on, it reads all three. Fit it, or test a controller "
                        "that does without.",
                        "UVW"[k]));
    const double nominal = readings_.given("sensors.phase_current.sensitivity")
                               ? d_.phase_current.sensitivity_V_per_A
                               : d_.phase_current.shunt_ohm * d_.phase_current.amplifier_gain;
    d_.scaling.supply_V = d_.bench.controller_supply_V;
    d_.scaling.low_side_shunts = low_side;
    believe("controller.belief.current_gain", d_.scaling.current_gain_V_per_A,
            (low_side ? -1.0 : 1.0) * sensor.polarity * nominal);
    believe("controller.belief.current_offset", d_.scaling.current_offset_V,
            d_.phase_current.offset_V);
    believe("controller.belief.bus_ratio", d_.scaling.bus_ratio, d_.bench.drive.bus_voltage.ratio);
    d_.scaling.closes_contactor = has_source(d_, io::line::contactor);
    if (has_source(d_, io::line::brake_chopper)) {
      d_.scaling.chopper_on_V = d_.bench.drive.chopper.on_V;
      d_.scaling.chopper_off_V = d_.bench.drive.chopper.off_V;
    }
  }

  void six_step() {
    auto& config = d_.six_step;
    need_magnets("six_step");
    require(d_.bench.drive.hall.fitted, "six_step needs Halls", "sensors.hall");
    believe("controller.belief.hall_spacing", d_.believed_hall_spacing_rad,
            d_.bench.drive.hall.spacing_rad);
    config.scaling = d_.scaling;
    config.pwm_frequency_Hz = d_.standin.pwm_frequency_Hz;
    config.dead_time_s = d_.standin.dead_time_s;
    config.current_limit_A = d_.standin.current_limit_A;
    config.hall_spacing_deg = std::round(d_.believed_hall_spacing_rad * 180.0 / std::numbers::pi);
    config.hall_permutation = static_cast<unsigned char>(d_.hall_permutation);
    d_.bench.controller_kind = "six_step";
    d_.bench.controller = config;
  }

  void field_oriented() {
    auto& config = d_.field_oriented;
    const auto& drive = d_.bench.drive;
    const auto star = plant::equivalent_star(drive.machine);  // all that a controller can see
    need_magnets("field_oriented");
    require(drive.encoder.fitted, "field_oriented needs an encoder", "sensors.encoder");
    require(drive.phase_current.kind != plant::CurrentSensing::none,
            "field_oriented needs current sensors", "sensors.phase_current");
    believe("controller.belief.has_hall", config.has_hall, drive.hall.fitted);
    believe("controller.belief.pole_pairs", config.pole_pairs, drive.machine.pole_pairs);
    believe("controller.belief.winding_resistance", config.winding_resistance_ohm,
            star.winding_resistance_ohm);
    believe("controller.belief.inductance_d", config.inductance_d_H, star.inductance_d_H);
    believe("controller.belief.inductance_q", config.inductance_q_H, star.inductance_q_H);
    believe("controller.belief.flux_linkage", config.flux_linkage_Wb, star.flux_linkage_Wb);
    believe("controller.belief.encoder_lines", config.encoder_lines, drive.encoder.lines);
    believe("controller.belief.encoder_index", config.encoder_index_rad, drive.encoder.index_rad);
    config.scaling = d_.scaling;
    config.pwm_frequency_Hz = d_.standin.pwm_frequency_Hz;
    config.dead_time_s = d_.standin.dead_time_s;
    config.current_limit_A = d_.standin.current_limit_A;
    config.dead_time_compensation = d_.standin.dead_time_compensation;
    d_.bench.controller_kind = "field_oriented";
    d_.bench.controller = config;
  }

  void volts_per_hertz() {
    auto& config = d_.volts_per_hertz;
    require(d_.bench.drive.phase_current.kind != plant::CurrentSensing::none,
            "volts_per_hertz needs current sensors", "sensors.phase_current");
    believe("controller.boost_voltage", config.boost_voltage_V, 0.05 * config.base_voltage_V);
    believe("controller.top_frequency", config.top_frequency_Hz, config.base_frequency_Hz);
    config.scaling = d_.scaling;
    config.pwm_frequency_Hz = d_.standin.pwm_frequency_Hz;
    config.dead_time_s = d_.standin.dead_time_s;
    config.current_limit_A = d_.standin.current_limit_A;
    config.dead_time_compensation = d_.standin.dead_time_compensation;
    d_.bench.controller_kind = "volts_per_hertz";
    d_.bench.controller = config;
  }

  void need_magnets(std::string_view kind) {
    if (d_.machine_kind != 0)
      problems_.add(
          readings_.at("controller.kind").place,
          fmt::format("controller.kind {} turns permanent-magnet machines, and the bench's "
                      "is an induction machine. Choose volts_per_hertz.",
                      kind));
  }

  void require(bool there, std::string_view need, std::string_view section) {
    if (!there)
      problems_.add(readings_.at("controller.kind").place,
                    fmt::format("controller.kind {}, and the bench has none. Add {}, or choose "
                                "another kind.",
                                need, section));
  }

  Readings& readings_;
  Draft& d_;
  Problems& problems_;
};

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
    return (draft.backend == 0 || on_wires(draft)) && plant::GateDriver(driver).fitted();
  if (line == io::line::contactor) return drive.contactor.fitted && draft.contactor_driven_by == 1;
  if (line == io::line::brake_chopper)
    return drive.chopper.resistance_ohm > 0.0 && draft.chopper_driven_by == 1;
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
  if (lies(io::channel::phase_voltage_U, io::channel::phase_voltage_W))
    return drive.phase_voltage.fitted;
  if (lies(io::channel::angle_sin, io::channel::angle_cos)) return drive.sin_cos.fitted;
  if (lies(io::channel::temperature_motor, io::channel::temperature_bridge))
    return drive.temperature[io::index(channel) - io::index(io::channel::temperature_motor)].kind !=
           plant::TemperatureSensing::none;
  return true;
}

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
  return missing_sensor;
}

/// Every pin exists, has something at its other end, and takes one wire only.
void check_pins(Readings& readings, const Draft& draft, Problems& problems) {
  std::map<std::string, std::string> taken;
  const auto check = [&](const std::string& path, const std::string& pin, bool analog,
                         std::string_view fault) {
    if (pin.empty()) return;
    const Place& place = readings.at(path).place;
    const std::string physical = physical_pin(draft.mcu.part, pin);
    if (physical.empty() || (analog && !is_analog(draft.mcu.part, pin)) ||
        (!analog && physical.starts_with("ADC")))
      problems.add(place, fmt::format("{} is {}; allowed on {}: {}. Check the wiring list.", path,
                                      pin, draft.mcu.part, allowed_pins(draft.mcu.part, analog)));
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

/// Of a wire that is not there nobody wants to know the drive.
void hide_defaults(Readings& readings, const std::string& path) {
  for (Reading& row : readings.rows)
    if (row.state == Reading::State::defaulted && row.parameter->path.starts_with(path + "."))
      row.state = Reading::State::absent;
}

/// Every wire has an end here and something at the other, and the gates are all there.
void check_wires(Readings& readings, const Draft& draft, Problems& problems) {
  const bool gpiod = draft.backend == 3;
  const auto wires = static_cast<io::GateWires>(draft.wires.gates);
  std::map<std::string, std::string> taken;
  const auto check = [&](const std::string& path, const WireDraft& wire) {
    if (!wire.wired()) hide_defaults(readings, path);
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
    const bool gate = k < io::gate_count;
    if (gate && io::uses(wires, static_cast<std::uint16_t>(k)) != wire.wired())
      problems.add(place, fmt::format("{} is {}; allowed with controller.gate_wires six and "
                                      "three_and_enable: all six, with three: UH, VH, WH. {}.",
                                      path, wire.wired() ? "wired" : "not wired",
                                      wire.wired() ? "Remove it, or change gate_wires"
                                                   : "Give its chip and offset, or its name"));
    if (wire.wired() && !has_source(draft, line_id(k)))
      problems.add(place, fmt::format("{} is wired, but {}", path, missing_source(line_id(k))));
  }
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
    else if (on_wires(draft) && !draft.line[io::index(line)].wired())
      problems.add(place,
                   fmt::format("{} is controller, but no wire brings the line {} in. Wire it: "
                               "harness.lines.{}; or write {}.",
                               path, io::name(line), io::name(line), else_by));
  }
}

}  // namespace

void assemble_controller(Readings& readings, Draft& draft, const std::filesystem::path& build_dir,
                         Problems& problems) {
  ControllerAssembler assembler(readings, draft, problems);
  constexpr std::array names{"mcu", "standin", "capture", "gpiod", "polled"};
  draft.bench.backend = names[static_cast<std::size_t>(draft.backend)];
  switch (draft.backend) {
    case 0:
      assembler.mcu(build_dir);
      break;
    case 1:
      assembler.standin();
      break;
    case 3:
      assembler.gpiod();
      break;
    case 4:
      assembler.polled();
      break;
    default:
      assembler.capture(build_dir);
      break;
  }
}

void assemble_harness(Readings& readings, Draft& draft, Problems& problems) {
  const bool mcu = draft.backend == 0;
  if (mcu) check_pins(readings, draft, problems);
  if (on_wires(draft)) check_wires(readings, draft, problems);
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
                     (!on_wires(draft) || draft.line[k].wired());
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
  // No bench file names converters yet: on real wires voltages are not the bench's.
  for (std::size_t k = 0; k < io::channel_count; ++k)
    harness.channels[k] = has_source(draft, channel_id(k)) && !on_wires(draft) &&
                          (!mcu || !draft.channel_pin[k].empty());
}

}  // namespace stillrotor
