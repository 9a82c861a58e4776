// Rows of the parameter table: bridge and its gate driver.
#include <fmt/format.h>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

void add_power_stage(std::vector<Parameter>& all) {
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
  add(choice(
      "bridge.switch_kind", AT(switch_kind), {"mosfet", "igbt"}, by_default("mosfet"),
      "mosfet: conducts both ways, its diode helps in reverse; igbt: one way, above a knee"));
  add(real("bridge.switch_on_resistance", AT(bench.drive.bridge.switch_on_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("4 mohm"),
           "of one switch; igbt: its slope above the knee"));
  add(real("bridge.switch_knee", AT(bench.drive.bridge.switch_knee_V), Family::voltage,
           between("0 V", "10 V"), by_default("1 V"), "igbt: knee of the forward voltage"));
  add(real("bridge.diode_voltage", AT(bench.drive.bridge.diode_voltage_V), Family::voltage,
           between("0 V", "5 V"), by_default("0.8 V"), "knee of the freewheel diodes"));
  add(real("bridge.diode_resistance", AT(bench.drive.bridge.diode_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("3 mohm"),
           "slope of the diodes above the knee"));
  add(real("bridge.output_capacitance", AT(bench.drive.bridge.output_capacitance_F),
           Family::capacitance, between("0 F", "1 uF"), by_default("0 F"),
           "of each switch: a leg with both off swings by its current; 0 F: changes over at once"));
  add(real("bridge.switching.on_energy", AT(bench.drive.bridge.switching.on_J), Family::energy,
           between("0 J", "1 J"), by_default("0 J"),
           "of a turn-on that takes over current, at the reference voltage and current"));
  add(real("bridge.switching.off_energy", AT(bench.drive.bridge.switching.off_J), Family::energy,
           between("0 J", "1 J"), by_default("0 J"), "of a turn-off under current, likewise"));
  add(real("bridge.switching.recovery_energy", AT(bench.drive.bridge.switching.recovery_J),
           Family::energy, between("0 J", "1 J"), by_default("0 J"),
           "of the diode that loses its current to a switch, likewise"));
  add(real("bridge.switching.at_voltage", AT(bench.drive.bridge.switching.at_V), Family::voltage,
           above("0 V", "10000 V"), by_default("48 V"),
           "voltage at which the switching energies hold; they follow it in proportion"));
  add(real("bridge.switching.at_current", AT(bench.drive.bridge.switching.at_A), Family::current,
           above("0 A", "10000 A"), by_default("20 A"),
           "current at which the switching energies hold; they follow it in proportion"));
}

void add_delays(std::vector<Parameter>& all) {
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
  add(real("bridge.driver.on_delay", AT(driver_on_delay_s), Family::time, between("0 s", "10 us"),
           by_default("0 s"), "from a gate line's turn-on to its switch"));
  add(real("bridge.driver.off_delay", AT(driver_off_delay_s), Family::time, between("0 s", "10 us"),
           by_default("0 s"), "from a gate line's turn-off to its switch"));
  constexpr const char* gates[] = {"UH", "UL", "VH", "VL", "WH", "WL"};
  for (std::size_t k = 0; k < 6; ++k) {
    add(real(
        fmt::format("bridge.driver.on_skew.{}", gates[k]),
        [k](Draft& d) -> double& { return d.driver_on_skew_s[k]; }, Family::time,
        between("-10 us", "10 us"), by_default("0 s"), "this line's addition to on_delay"));
    add(real(
        fmt::format("bridge.driver.off_skew.{}", gates[k]),
        [k](Draft& d) -> double& { return d.driver_off_skew_s[k]; }, Family::time,
        between("-10 us", "10 us"), by_default("0 s"), "this line's addition to off_delay"));
  }
}

void add_protection(std::vector<Parameter>& all) {
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
#define DRIVER(member) AT(bench.drive.gate_driver.member)
  add(real("bridge.driver.trip_current", DRIVER(trip_A), Family::current,
           between("0 A", "100000 A"), by_default("0 A"),
           "of one switch, above which the driver turns all off; 0 A: never"));
  add(real("bridge.driver.trip_delay", DRIVER(trip_delay_s), Family::time, between("0 s", "1 ms"),
           by_default("1 us"), "from that current to all off and the fault line pulled"));
  add(real("bridge.driver.retry_after", DRIVER(retry_after_s), Family::time,
           between("0 s", "100 s"), by_default("0 s"),
           "a fault clears itself after this; 0 s: when enable toggles"));
  add(real("bridge.driver.supply", DRIVER(supply_V), Family::voltage, between("0 V", "40 V"),
           by_default("12 V"), "of the gate driver"));
  add(real("bridge.driver.undervoltage", DRIVER(undervoltage_V), Family::voltage,
           between("0 V", "40 V"), by_default("0 V"),
           "supply below which the driver turns all off; 0 V: not watched"));
  add(real("bridge.driver.undervoltage_hysteresis", DRIVER(hysteresis_V), Family::voltage,
           between("0 V", "10 V"), by_default("0.5 V"), "how far above the supply has recovered"));
  add(real("bridge.driver.bootstrap.capacitance", DRIVER(bootstrap.capacitance_F),
           Family::capacitance, between("0 F", "1 mF"), by_default("0 F"),
           "of each leg; 0 F: the high switches have supplies of their own"));
  add(real("bridge.driver.bootstrap.resistance", DRIVER(bootstrap.resistance_ohm),
           Family::resistance, above("0 ohm", "1000 ohm"), by_default("10 ohm"),
           "in series with the bootstrap diode"));
  add(real("bridge.driver.bootstrap.diode_voltage", DRIVER(bootstrap.diode_voltage_V),
           Family::voltage, between("0 V", "2 V"), by_default("0.6 V"), "of the bootstrap diode"));
  add(real("bridge.driver.bootstrap.quiescent_current", DRIVER(bootstrap.quiescent_A),
           Family::current, between("0 A", "1 A"), by_default("100 uA"),
           "that the high side draws all the time"));
  add(real("bridge.driver.bootstrap.gate_charge", DRIVER(bootstrap.gate_charge_C), Family::charge,
           between("0 C", "1 mC"), by_default("60 nC"), "that one turn-on of a high switch takes"));
  add(real("bridge.driver.bootstrap.undervoltage", DRIVER(bootstrap.undervoltage_V),
           Family::voltage, between("0 V", "40 V"), by_default("8 V"),
           "below which a high switch is off"));
  add(real("bridge.driver.bootstrap.hysteresis", DRIVER(bootstrap.hysteresis_V), Family::voltage,
           above("0 V", "10 V"), by_default("0.5 V"), "how far above it may be on again"));
#undef DRIVER
}

}  // namespace

std::vector<Parameter> bridge_parameters() {
  std::vector<Parameter> all;
  add_power_stage(all);
  add_delays(all);
  add_protection(all);
  return all;
}

}  // namespace stillrotor
