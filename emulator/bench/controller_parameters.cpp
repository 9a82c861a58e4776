#include <fmt/format.h>

#include "emulator/bench/highest_priority.hpp"
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

std::vector<Parameter> common() {
  return {
      real("controls.throttle_low", AT(throttle_low), Family::ratio, between("0 %", "100 %"),
           optional, "share of controller.supply at rest, of a ratiometric throttle"),
      real("controls.throttle_high", AT(throttle_high), Family::ratio, between("0 %", "100 %"),
           optional, "share of controller.supply fully open"),
      real("controls.throttle_idle", AT(bench.controls.throttle_idle_V), Family::voltage,
           between("0 V", "6 V"), follows("throttle_low; else 0.85 V"),
           "the throttle's wire at rest"),
      real("controls.throttle_full", AT(bench.controls.throttle_full_V), Family::voltage,
           between("0 V", "6 V"), follows("throttle_high; else 4.2 V"),
           "the throttle's wire fully open"),
      on_off("controls.command_pulse.fitted", AT(bench.controls.pulse.fitted),
             follows("on where controls.command_pulse stands"),
             "the throttle comes as a pulse, too, on the line command_pulse"),
      real("controls.command_pulse.period", AT(bench.controls.pulse.period_s), Family::time,
           between("2 ms", "100 ms"), by_default("20 ms"), "from pulse to pulse"),
      real("controls.command_pulse.idle", AT(bench.controls.pulse.idle_s), Family::time,
           between("100 us", "10 ms"), by_default("1 ms"), "width with the throttle at rest"),
      real("controls.command_pulse.full", AT(bench.controls.pulse.full_s), Family::time,
           between("100 us", "10 ms"), by_default("2 ms"), "width with the throttle fully open"),
      choice("controller.backend", AT(backend),
             {"mcu", "standin", "capture", "gpiod", "polled", "hostfw", "link"}, required,
             "what stands at the connector"),
      choice("controller.kind", AT(kind), {"six_step", "field_oriented", "volts_per_hertz"},
             required, "which of the built-in reference controllers", role::standin),
      real("controller.supply", AT(bench.controller_supply_V), Family::voltage,
           between("1.8 V", "30 V"), by_default("5 V"), "of the controller's logic and ADC"),
      on_off("controller.stays_supplied", AT(bench.controller_stays_supplied), by_default("off"),
             "its supply is up from the start whatever the key does; the key is a line to it",
             role::any & ~(role::capture | role::link)),
      real("controller.expects.pwm_frequency", AT(bench.expects.pwm_frequency_Hz),
           Family::frequency, above("0 Hz", "1 MHz"), optional, "for the demand on every route"),
      real("controller.expects.dead_time", AT(bench.expects.dead_time_s), Family::time,
           above("0 s", "100 us"), optional, "for the demand on every route"),
      real("controller.expects.top_speed", AT(bench.expects.top_speed_rad_s),
           Family::rotational_speed, above("0 rpm", "1000000 rpm"), optional,
           "of the motor shaft, for the demand on every route"),
      real("controller.expects.current_loop", AT(bench.expects.current_loop_Hz), Family::frequency,
           above("0 Hz", "1 MHz"), optional, "crossover, for the demand on every route"),
  };
}

std::vector<Parameter> mcu_and_capture() {
  std::vector<Parameter> all{
      text("controller.part", AT(mcu.part), "a part number", by_default("atmega328p"),
           "the microcontroller", role::mcu),
      real("controller.clock", AT(mcu.clock_Hz), Family::frequency, between("1 MHz", "20 MHz"),
           by_default("16 MHz"), "of the microcontroller", role::mcu),
      real("controller.crystal", AT(mcu.crystal_Hz), Family::frequency, between("4 MHz", "26 MHz"),
           by_default("8 MHz"), "of a part that makes its own clock from it (stm32f405)",
           role::mcu),
      real("controller.reference", AT(mcu.reference_V), Family::voltage, between("1.8 V", "3.6 V"),
           by_default("3.3 V"), "supply of the chip and full scale of its converters (stm32f405)",
           role::mcu),
      real("controller.input_divider", AT(mcu.input_divider), Family::ratio, above("0", "1"),
           by_default("1"), "on the board, between analog wires and pins (stm32f405)", role::mcu),
      on_off(
          "controller.translation", AT(mcu.translated), by_default("on"),
          "instructions become the computer's own where that can be (stm32f405); off: one by one, "
          "slower, with the same results",
          role::mcu),
      real("controller.comparator_hysteresis", AT(mcu.comparator_hysteresis_V), Family::voltage,
           above("0 V", "50 mV"), by_default("5 mV"),
           "of the analog comparator: its output stays while the inputs differ by less than half",
           role::mcu),
      text("controller.firmware", AT(firmware), "a path", required,
           "the firmware's file, mcu: ELF or Intel HEX, hostfw: a shared object; relative to the "
           "bench file; "
           "${build}: the build folder",
           role::mcu | role::hostfw),
      text("controller.settings", AT(firmware_settings), "pairs name: value", optional,
           "settings of the firmware under their own names, {pole_pairs: 4}; hostfw: what it "
           "declares, mcu: variables in its EEPROM",
           role::mcu | role::hostfw),
      text("controller.watch", AT(firmware_watch), "pairs name: variable", optional,
           "variables of the firmware that are recorded, {wish: torque_A, integral: drive.pid.i}; "
           "a type behind one where the firmware has no debug information",
           role::mcu),
      on_off("controller.in_process", AT(hostfw.in_process), by_default("off"),
             "load the firmware into the program itself: faster, and a crash takes all with it",
             role::hostfw),
      real("controller.patience", AT(hostfw.patience_s), Family::time, between("10 ms", "1000 s"),
           by_default("2 s"),
           "processor time after which an interrupt of the firmware counts as hung", role::hostfw),
      text("controller.file", AT(capture_file), "a path", required,
           "the recorded gates, a VCD file (IEEE 1364), relative to the bench file", role::capture),
      real("controller.start", AT(capture.start_s), Family::time, between("0 s", "1000000 s"),
           by_default("0 s"), "where in the recording to begin", role::capture),
      real("controller.speed", AT(bench.capture_speed_rad_s), Family::rotational_speed,
           between("-100000 rpm", "100000 rpm"), optional,
           "imposed on the shaft during the replay; absent: as recorded, else as its torques say",
           role::capture),
  };
  // An absolute angle sensor's lines tell a replay nothing.
  for (std::size_t k = 0; k <= io::index(io::line::reverse); ++k) {
    const bool gate = k < io::gate_count;
    const std::string_view name = io::name(io::LineId(static_cast<std::uint16_t>(k)));
    all.push_back(text(
        fmt::format("controller.signals.{}", gate ? name.substr(name.size() - 2) : name),
        [k](Draft& d) -> std::string& { return d.capture.signals[k]; }, "a name in the recording",
        gate ? required : optional,
        gate ? "the recorded gate"
             : "this line in the recording; Halls or encoder tell how it turned",
        role::capture));
  }
  return all;
}

/// Small parts beside the chip, on the controller's own board (stm32f405).
std::vector<Parameter> partners() {
  const auto pin = [](std::string path, Access<std::string> at, std::string what) {
    return text("controller.partners." + std::move(path), std::move(at), "a pin", optional,
                std::move(what), role::mcu);
  };
  return {
      pin("eeprom.clock", AT(mcu.partners.eeprom.clock),
          "the chip's pin at the clock of an EEPROM on I2C (4096 bytes, pages of 32)"),
      pin("eeprom.data", AT(mcu.partners.eeprom.data), "the chip's pin at its data"),
      whole("controller.partners.eeprom.address_pins", AT(mcu.partners.eeprom.address_pins), 0, 7,
            by_default("0"), "its three address pins: it answers to 0x50 and that", role::mcu),
      text("controller.partners.eeprom.image", AT(eeprom_image), "a path", optional,
           "what it holds from its first byte on, relative to the bench file; absent: erased",
           role::mcu),
      real("controller.partners.eeprom.write_time", AT(mcu.partners.eeprom.write_s), Family::time,
           above("0 s", "100 ms"), by_default("5 ms"), "for a page; meanwhile it does not answer",
           role::mcu),
      pin("gate_driver.clock", AT(mcu.partners.gate_driver.clock),
          "the chip's pin at the clock of a gate driver's registers on SPI"),
      pin("gate_driver.in", AT(mcu.partners.gate_driver.in), "at the driver's data input"),
      pin("gate_driver.out", AT(mcu.partners.gate_driver.out), "at the driver's data output"),
      pin("gate_driver.select", AT(mcu.partners.gate_driver.select),
          "at the driver's select, low selects; until its enable bit is set no gate is driven"),
  };
}

std::vector<Parameter> on_wires() {
  const auto offset = [](std::string path, Access<int> at, const Wanted& wanted, std::string what) {
    return whole("controller.registers." + std::move(path), std::move(at), 0, 1 << 30, wanted,
                 std::move(what), role::polled);
  };
  return {
      choice(
          "controller.gate_wires", AT(wires.gates), {"six", "three", "three_and_enable"},
          by_default("six"),
          "three: UH, VH, WH, the driver makes the complement; and_enable: UL, VL, WL enable a leg",
          role::lines),
      real("controller.driver_dead_time", AT(wires.dead_time_s), Family::time,
           between("0 s", "20 us"), by_default("1 us"),
           "that the controller's driver inserts; with three wires only", role::lines),
      whole("controller.capture_core", AT(wires.capture.core), 0, 1023, optional,
            "the core that takes edges in, for polled an isolated one; absent: any", role::wired),
      whole("controller.capture_priority", AT(wires.capture.priority), 0, highest_priority,
            by_default("50"), "SCHED_FIFO priority of taking edges in; 0: an ordinary thread",
            role::wired),
      text("controller.calibration", AT(wires.calibration_file), "a path", optional,
           "what `check --calibrate` measured at these lines, relative to the bench file",
           role::lines),
      real("controller.gap_tolerance", AT(wires.gap_tolerance_s), Family::time,
           between("50 ns", "1 ms"), follows("expects.dead_time; else 1 us"),
           "longest time between two looks in which no pulse can hide", role::polled),
      text("controller.registers.file", AT(wires.registers_file), "a path", required,
           "what is mapped: a GPIO memory device, a UIO device, any file", role::polled),
      offset("base", AT(wires.base), by_default("0"),
             "where in the file the registers begin, bytes"),
      offset("level", AT(wires.registers.level), required,
             "offset of the register that shows the pins, bytes"),
      offset("set", AT(wires.registers.set), optional,
             "offset of the register whose ones raise pins"),
      offset("clear", AT(wires.registers.clear), optional,
             "offset of the register whose ones lower pins"),
      offset("output", AT(wires.registers.output), optional,
             "offset of the register that drives pins, in place of set and clear"),
      offset("enable", AT(wires.registers.enable), optional,
             "offset of the register whose ones drive and whose zeros let go"),
  };
}

std::vector<Parameter> standin() {
  return {
      real("controller.pwm_frequency", AT(standin.pwm_frequency_Hz), Family::frequency,
           between("1 kHz", "100 kHz"), by_default("16 kHz"), "of the stand-in", role::standin),
      real("controller.dead_time", AT(standin.dead_time_s), Family::time, between("0 s", "20 us"),
           by_default("1 us"), "of the stand-in", role::standin),
      real("controller.current_limit", AT(standin.current_limit_A), Family::current,
           above("0 A", "10000 A"), by_default("60 A"), "of a phase, peak", role::standin),
      real("controller.duty_ramp", AT(six_step.duty_ramp_per_s), Family::slew,
           above("0 /s", "1000 /s"), by_default("4 /s"), "how fast the duty may rise",
           role::six_step),
      real("controller.regen_limit", AT(field_oriented.regen_limit_A), Family::current,
           between("0 A", "10000 A"), by_default("20 A"), "current of the electric brake",
           role::field_oriented),
      real("controller.current_loop", AT(field_oriented.current_loop_Hz), Family::frequency,
           between("10 Hz", "5 kHz"), by_default("500 Hz"), "bandwidth of the current control",
           role::field_oriented),
      real("controller.torque_ramp", AT(field_oriented.torque_ramp_A_per_s), Family::current_slope,
           above("0 A/s", "1000000 A/s"), by_default("400 A/s"), "how fast the request may rise",
           role::field_oriented),
      real("controller.limited_speed", AT(field_oriented.limited_speed_rad_s),
           Family::rotational_speed, between("0 rpm", "100000 rpm"), by_default("0 rpm"),
           "of the motor shaft, that it keeps to while the line speed_limit is on; 0 rpm: that "
           "line means nothing to it",
           role::field_oriented),
      on_off("controller.dead_time_compensation", AT(standin.dead_time_compensation),
             by_default("on"), "adds back the voltage that the dead time takes", role::sine),
      real("controller.throttle_zero", AT(scaling.throttle_zero_V), Family::voltage,
           between("0 V", "6 V"), by_default("0.9 V"), "up to here nothing is asked for",
           role::standin),
      real("controller.throttle_full", AT(scaling.throttle_full_V), Family::voltage,
           between("0 V", "6 V"), by_default("4 V"), "from here on everything is asked for",
           role::standin),
      real("controller.throttle_low_fault", AT(scaling.throttle_low_fault_V), Family::voltage,
           between("0 V", "6 V"), by_default("0.3 V"), "below: a broken wire", role::standin),
      real("controller.throttle_high_fault", AT(scaling.throttle_high_fault_V), Family::voltage,
           between("0 V", "6 V"), by_default("4.6 V"), "above: a broken wire", role::standin),
  };
}

std::vector<Parameter> volts_per_hertz() {
  constexpr unsigned vf = role::volts_per_hertz;
  return {
      real("controller.base_frequency", AT(volts_per_hertz.base_frequency_Hz), Family::frequency,
           between("0.1 Hz", "10 kHz"), by_default("50 Hz"),
           "here the voltage reaches base_voltage, and stays", vf),
      real("controller.base_voltage", AT(volts_per_hertz.base_voltage_V), Family::voltage,
           between("0.1 V", "10 kV"), required,
           "of the machine at base_frequency: line to line, rms, of the fundamental", vf),
      real("controller.boost_voltage", AT(volts_per_hertz.boost_voltage_V), Family::voltage,
           between("0 V", "10 kV"), follows("base_voltage: 5 % of it"),
           "at standstill, line to line, rms; from there in a straight line to base_voltage", vf),
      real("controller.top_frequency", AT(volts_per_hertz.top_frequency_Hz), Family::frequency,
           between("0.1 Hz", "10 kHz"), follows("base_frequency"),
           "that the fully open throttle asks for", vf),
      real("controller.acceleration_ramp", AT(volts_per_hertz.acceleration_Hz_per_s),
           Family::frequency_slope, between("0.001 Hz/s", "1000000 Hz/s"), by_default("25 Hz/s"),
           "how fast the frequency may rise", vf),
      real("controller.deceleration_ramp", AT(volts_per_hertz.deceleration_Hz_per_s),
           Family::frequency_slope, between("0.001 Hz/s", "1000000 Hz/s"), by_default("25 Hz/s"),
           "how fast the frequency may fall", vf),
  };
}

/// What the stand-in believes about the bench. Silent: the truth; written: a wrong setting.
std::vector<Parameter> belief() {
  constexpr unsigned foc = role::field_oriented, six = role::six_step;
  const Wanted truth = follows("the bench's own value");
  return {
      real("controller.belief.current_gain", AT(scaling.current_gain_V_per_A), Family::gain,
           between("-100 V/A", "100 V/A"), truth, "volts per ampere into the machine, signed",
           role::standin),
      real("controller.belief.current_offset", AT(scaling.current_offset_V), Family::voltage,
           between("0 V", "30 V"), truth, "until the reading at power-up replaces it",
           role::standin),
      real("controller.belief.bus_ratio", AT(scaling.bus_ratio), Family::ratio, above("0", "1"),
           truth, "volts at the pin per volt of the bus", role::standin),
      real("controller.belief.hall_spacing", AT(believed_hall_spacing_rad), Family::angle,
           between("60 deg", "120 deg"), truth, "120 or 60 degrees, electrical", six),
      whole("controller.belief.hall_permutation", AT(hall_permutation), 0, 5, by_default("0"),
            "0: as wired; 1 to 5: the other orders of U, V, W", six),
      on_off("controller.belief.hall_inverted", AT(six_step.hall_inverted), by_default("off"),
             "all three Hall lines read inverted", six),
      on_off("controller.belief.has_hall", AT(field_oriented.has_hall), truth,
             "starts on the Hall sectors", foc),
      whole("controller.belief.pole_pairs", AT(field_oriented.pole_pairs), 1, 64, truth,
            "of the machine", foc),
      real("controller.belief.winding_resistance", AT(field_oriented.winding_resistance_ohm),
           Family::resistance, above("0 ohm", "100 ohm"), truth, "of one phase", foc),
      real("controller.belief.inductance_d", AT(field_oriented.inductance_d_H), Family::inductance,
           above("0 H", "1 H"), truth, "on the magnet axis", foc),
      real("controller.belief.inductance_q", AT(field_oriented.inductance_q_H), Family::inductance,
           above("0 H", "1 H"), truth, "across the magnet axis", foc),
      real("controller.belief.flux_linkage", AT(field_oriented.flux_linkage_Wb),
           Family::flux_linkage, above("0 Wb", "10 Wb"), truth, "peak of the fundamental", foc),
      whole("controller.belief.encoder_lines", AT(field_oriented.encoder_lines), 1, 100'000, truth,
            "lines a turn", foc),
      real("controller.belief.encoder_index", AT(field_oriented.encoder_index_rad), Family::angle,
           between("-360 deg", "360 deg"), truth, "mechanical angle of the index pulse", foc),
  };
}

}  // namespace

std::vector<Parameter> controller_parameters() {
  std::vector<Parameter> all;
  for (auto section : {common(), mcu_and_capture(), partners(), on_wires(), standin(),
                       volts_per_hertz(), belief()})
    all.insert(all.end(), section.begin(), section.end());
  return all;
}

}  // namespace stillrotor
