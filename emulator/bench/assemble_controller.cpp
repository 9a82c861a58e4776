// The controller's share of assemble().
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <fstream>
#include <numbers>

#include "emulator/bench/pairs.hpp"
#include "emulator/bench/readings.hpp"
#include "emulator/bench/watch_list.hpp"
#include "emulator/bench/wire_sources.hpp"
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor {
namespace {

using io::LineId;

LineId line_id(std::size_t k) { return LineId(static_cast<std::uint16_t>(k)); }

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

class ControllerAssembler {
 public:
  ControllerAssembler(Readings& readings, Draft& draft, Problems& problems)
      : readings_(readings), d_(draft), problems_(problems) {}

  void mcu(const std::filesystem::path& build_dir) {
    d_.mcu.supply_V = d_.bench.controller_supply_V;
    for (std::size_t k = 0; k < io::line_count; ++k) d_.mcu.line_pins[k] = d_.line[k].pin;
    for (std::size_t k = 0; k < io::channel_count; ++k) d_.mcu.adc_pins[k] = d_.channel_pin[k];
    d_.mcu.firmware = firmware_file(build_dir, true);
    d_.mcu.settings = settings();
    d_.bench.controller_kind = d_.mcu.part;
    std::string problem;
    d_.bench.firmware_watch = read_watch_list(d_.firmware_watch, problem);
    if (!problem.empty()) problems_.add(readings_.at("controller.watch").place, problem);
    // What the other family of parts has.
    const bool cortex = io::cortexm::find_chip(d_.mcu.part) != nullptr;
    for (const char* path : {"controller.crystal", "controller.reference",
                             "controller.input_divider", "controller.translation"})
      not_of_this_part(path, !cortex);
    partners(cortex, build_dir);
    for (const char* path : {"controller.clock", "controller.comparator_hysteresis"})
      not_of_this_part(path, cortex);
    d_.bench.controller = d_.mcu;
  }

  /// A partner's wires belong together; which pins there are, and free, the controller says itself.
  void partners(bool cortex, const std::filesystem::path& build_dir) {
    constexpr std::array eeprom{"clock", "data", "address_pins", "image", "write_time"};
    constexpr std::array gate_driver{"clock", "in", "out", "select"};
    const auto check = [&](std::string_view partner, const auto& all, std::size_t wires) {
      const auto path = [&](const char* row) {
        return fmt::format("controller.partners.{}.{}", partner, row);
      };
      const bool fitted = std::any_of(all.begin(), all.end(),
                                      [&](const char* row) { return readings_.given(path(row)); });
      for (std::size_t i = 0; i < all.size(); ++i) {
        not_of_this_part(path(all[i]).c_str(), !cortex);
        if (!fitted) readings_.hide_default(path(all[i]));
        if (cortex && fitted && i < wires && !readings_.given(path(all[i])))
          problems_.add(readings_.at("controller.part").place,
                        fmt::format("{} is missing; allowed a pin for each of this partner's "
                                    "wires. Add it, or remove controller.partners.{}.",
                                    path(all[i]), partner));
      }
    };
    check("eeprom", eeprom, 2);
    check("gate_driver", gate_driver, gate_driver.size());
    if (const Reading& image = readings_.at("controller.partners.eeprom.image");
        !image.written.empty()) {
      d_.mcu.partners.eeprom.image = resolve_path(image, build_dir);
      d_.eeprom_image = d_.mcu.partners.eeprom.image.string();
      first_bytes(image, d_.mcu.partners.eeprom.image,
                  "Check the path; it counts from the bench file.", problems_);
    }
    const bool wired = !d_.line[io::index(io::line::driver_fault)].pin.empty();
    d_.mcu.partners.gate_driver.fault_high =
        d_.line[io::index(io::line::driver_fault)].active_high != 0;
    if (const char* clock = "controller.partners.gate_driver.clock";
        readings_.given(clock) && !wired)
      problems_.add(readings_.at(clock).place,
                    "controller.partners.gate_driver stands on a bench whose driver has no fault "
                    "line; allowed with one, its status follows it. Write harness: {driver: "
                    "{fault: <pin>}}, and bridge.driver.trip_current.");
  }

  void not_of_this_part(const char* path, bool hide) {
    if (!hide) return;
    readings_.hide_default(path);
    if (readings_.given(path))
      problems_.add(readings_.at(path).place, fmt::format("{} is {}; {} has none. Remove it.", path,
                                                          readings_.at(path).written, d_.mcu.part));
  }

  void hostfw(const std::filesystem::path& build_dir) {
    d_.hostfw.supply_V = d_.bench.controller_supply_V;
    d_.hostfw.firmware = firmware_file(build_dir, false);
    d_.hostfw.settings = settings();
    d_.bench.controller = d_.hostfw;
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
  /// Empty where none is named. It is read when the controller is made; here, whether it can be
  /// one.
  std::filesystem::path firmware_file(const std::filesystem::path& build_dir, bool may_be_hex) {
    Reading& firmware = readings_.at("controller.firmware");
    if (firmware.written.empty()) return {};
    const std::filesystem::path file = resolve_path(firmware, build_dir);
    d_.firmware = file.string();
    const std::string bytes = first_bytes(
        firmware, file, "Build it: ./demo.sh, or cmake --build --preset release.", problems_);
    constexpr std::string_view elf =
        "\x7f"
        "ELF";
    if (!bytes.empty() && bytes != elf && !(may_be_hex && bytes.starts_with(':')))
      problems_.add(firmware.place,
                    fmt::format("controller.firmware is {}; allowed {} file, and this does not "
                                "start like one. Name the linker's output, not a source file.",
                                file.string(), may_be_hex ? "an ELF or Intel HEX" : "an ELF"));
    return file;
  }

  /// Numbers and, where written, their units; whether the firmware has them, it says itself.
  std::vector<io::SettingChange> settings() {
    std::vector<io::SettingChange> changes;
    const Reading& reading = readings_.at("controller.settings");
    for (const auto& [name, written] : words_in_pairs(d_.firmware_settings)) {
      io::SettingChange change{std::string(name), 0.0, {}};
      const char* const end = written.data() + written.size();
      const auto [rest, error] = std::from_chars(written.data(), end, change.value);
      change.unit = trimmed({rest, static_cast<std::size_t>(end - rest)});
      if (name.empty() || error != std::errc{} || !std::isfinite(change.value))
        problems_.add(reading.place,
                      fmt::format("controller.settings.{} is \"{}\"; allowed a number, with its "
                                  "unit behind it where the firmware has one. Write {{name: "
                                  "value}}.",
                                  name, written));
      const auto same = [&](const io::SettingChange& other) { return other.name == name; };
      if (std::any_of(changes.begin(), changes.end(), same))
        problems_.add(
            reading.place,
            fmt::format("controller.settings.{} is given twice. Remove one of them.", name));
      changes.push_back(std::move(change));
    }
    return changes;
  }

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

}  // namespace

void assemble_controller(Readings& readings, Draft& draft, const std::filesystem::path& build_dir,
                         Problems& problems) {
  ControllerAssembler assembler(readings, draft, problems);
  constexpr std::array names{"mcu", "standin", "capture", "gpiod", "polled", "hostfw", "link"};
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
    case 5:
      assembler.hostfw(build_dir);
      break;
    case 6:  // assemble_link(): its channels are of the harness
      break;
    default:
      assembler.capture(build_dir);
      break;
  }
}

}  // namespace stillrotor
