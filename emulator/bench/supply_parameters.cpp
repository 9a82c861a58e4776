// Rows of the parameter table: supply, contactor, chopper and DC link.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;

std::vector<Parameter> source() {
  return {
      choice("supply.kind", AT(supply_kind), {"battery", "bench_supply"}, by_default("battery"),
             "a battery takes current back, a bench supply cannot"),
      real("supply.voltage", AT(bench.drive.supply.voltage_V), Family::voltage,
           between("0 V", "2000 V"), follows("open_circuit at the charge; else required"),
           "open-circuit or set voltage"),
      real("supply.resistance", AT(bench.drive.supply.resistance_ohm), Family::resistance,
           above("0 ohm", "100 ohm"), by_default("40 mohm"), "of the source with its cables"),
      real("supply.cable_inductance", AT(bench.drive.supply.cable_inductance_H), Family::inductance,
           between("0 H", "10 mH"), by_default("0 H"),
           "of the cable to the link, both wires together"),
      real("supply.current_limit", AT(bench.drive.supply.current_limit_A), Family::current,
           above("0 A", "1000000000 A"), follows("none"), "bench supply: constant-current limit"),
      real("supply.fold_back", AT(bench.drive.supply.fold_back_A), Family::current,
           between("0 A", "1000000000 A"), optional,
           "bench supply: what its limit falls to in a straight line, into a short"),
      real("supply.voltage_loop", AT(bench.drive.supply.voltage_loop_Hz), Family::frequency,
           between("0 Hz", "20 kHz"), by_default("0 Hz"),
           "bench supply: bandwidth of its voltage loop; 0 Hz: ideal"),
      real("supply.current_loop", AT(bench.drive.supply.current_loop_Hz), Family::frequency,
           between("0 Hz", "20 kHz"), follows("voltage_loop"),
           "bench supply: bandwidth of its current loop, into a load of voltage / current_limit"),
      real("supply.latch_above", AT(bench.drive.supply.latch_above_V), Family::voltage,
           above("0 V", "2000 V"), optional,
           "bench supply: bus voltage at which it switches off for good"),
  };
}

std::vector<Parameter> battery() {
  return {
      text("supply.open_circuit", AT(open_circuit),
           "pairs charge: voltage, {0 %: 42 V, 100 %: 54 V}", optional,
           "battery: open-circuit voltage over state of charge, rising; absent: constant"),
      real("supply.capacity", AT(bench.drive.supply.battery.capacity_C), Family::charge,
           above("0 A h", "100000 A h"), by_default("20 A h"), "battery: from full to empty"),
      real("supply.charge", AT(bench.drive.supply.battery.charge), Family::ratio, between("0", "1"),
           by_default("80 %"), "battery: state of charge at the start"),
      text("supply.branches", AT(branches), "up to three pairs resistance: time, {8 mohm: 0.5 s}",
           optional,
           "battery: resistor-capacitor branches in series, by resistance and time constant"),
      real("supply.temperature", AT(bench.drive.supply.battery.temperature_K), Family::temperature,
           between("-60 degC", "120 degC"), by_default("25 degC"), "battery: of its cells"),
      text("supply.resistance_over_temperature", AT(resistance_over_temperature),
           "pairs temperature: share, {-10 degC: 2.1, 25 degC: 1}", optional,
           "battery: what its resistance is multiplied by; absent: 1"),
      on_off("supply.protection.fitted", AT(bench.drive.supply.protection.fitted),
             follows("whether anything stands below supply.protection"),
             "battery: a board that opens the pack"),
      real("supply.protection.sample_time", AT(bench.drive.supply.protection.sample_time_s),
           Family::time, between("10 us", "1 s"), by_default("1 ms"),
           "how often the board looks; delays are whole samples"),
      real("supply.protection.over_voltage.trip",
           AT(bench.drive.supply.protection.over_voltage.trip_V), Family::voltage,
           above("0 V", "2000 V"), optional, "opens the pack above it"),
      real("supply.protection.over_voltage.release",
           AT(bench.drive.supply.protection.over_voltage.release_V), Family::voltage,
           above("0 V", "2000 V"), optional, "closes the pack again below it; absent: at the trip"),
      real("supply.protection.over_voltage.delay",
           AT(bench.drive.supply.protection.over_voltage.delay_s), Family::time,
           between("0 s", "3600 s"), by_default("1 s"), "how long it must last"),
      real("supply.protection.under_voltage.trip",
           AT(bench.drive.supply.protection.under_voltage.trip_V), Family::voltage,
           above("0 V", "2000 V"), optional, "opens the pack below it"),
      real("supply.protection.under_voltage.release",
           AT(bench.drive.supply.protection.under_voltage.release_V), Family::voltage,
           above("0 V", "2000 V"), optional, "closes the pack again above it; absent: at the trip"),
      real("supply.protection.under_voltage.delay",
           AT(bench.drive.supply.protection.under_voltage.delay_s), Family::time,
           between("0 s", "3600 s"), by_default("1 s"), "how long it must last"),
      real("supply.protection.discharge.trip", AT(bench.drive.supply.protection.discharge.trip_A),
           Family::current, above("0 A", "100000 A"), optional, "current out of the pack"),
      real("supply.protection.discharge.delay", AT(bench.drive.supply.protection.discharge.delay_s),
           Family::time, between("0 s", "3600 s"), by_default("10 ms"), "how long it must last"),
      real("supply.protection.charge.trip", AT(bench.drive.supply.protection.charge.trip_A),
           Family::current, above("0 A", "100000 A"), optional, "current into the pack"),
      real("supply.protection.charge.delay", AT(bench.drive.supply.protection.charge.delay_s),
           Family::time, between("0 s", "3600 s"), by_default("10 ms"), "how long it must last"),
      real("supply.protection.retry", AT(bench.drive.supply.protection.retry_s), Family::time,
           between("0 s", "3600 s"), by_default("0 s"),
           "after an over-current it closes the pack again; 0 s: it stays open"),
  };
}

std::vector<Parameter> path() {
  return {
      on_off("contactor.fitted", AT(bench.drive.contactor.fitted),
             follows("whether the bench has a contactor"), "between supply and link; off: a wire"),
      choice("contactor.driven_by", AT(contactor_driven_by), {"key", "controller"},
             by_default("key"), "what closes it: the key switch, or the line contactor"),
      real("contactor.pull_in", AT(bench.drive.contactor.pull_in_s), Family::time,
           between("0 s", "10 s"), by_default("20 ms"), "from the command to closed"),
      real("contactor.drop_out", AT(bench.drive.contactor.drop_out_s), Family::time,
           between("0 s", "10 s"), by_default("10 ms"), "from the command to open"),
      real("contactor.pre_charge", AT(bench.drive.contactor.pre_charge_ohm), Family::resistance,
           between("0 ohm", "100000 ohm"), by_default("0 ohm"),
           "resistor beside the contactor that charges the link; 0 ohm: none"),
      real("chopper.resistance", AT(bench.drive.chopper.resistance_ohm), Family::resistance,
           above("0 ohm", "100000 ohm"), optional, "brake resistor across the bus"),
      choice("chopper.driven_by", AT(chopper_driven_by), {"itself", "controller"},
             by_default("itself"),
             "what switches it: itself, between two thresholds of the bus, or the line "
             "brake_chopper"),
      real("chopper.on_above", AT(bench.drive.chopper.on_V), Family::voltage,
           between("0 V", "2000 V"), follows("1.2 x supply.voltage"),
           "by itself, or by a stand-in: turns on"),
      real("chopper.off_below", AT(bench.drive.chopper.off_V), Family::voltage,
           between("0 V", "2000 V"), follows("0.95 x on_above"),
           "by itself, or by a stand-in: turns off"),
      real("dc_link.capacitance", AT(bench.drive.dc_link.capacitance_F), Family::capacitance,
           above("0 F", "10 F"), by_default("1 mF"), "of the link at the bridge"),
      real("dc_link.series_resistance", AT(bench.drive.dc_link.series_resistance_ohm),
           Family::resistance, between("0 ohm", "10 ohm"), by_default("5 mohm"),
           "equivalent series resistance of the link"),
  };
}

}  // namespace

std::vector<Parameter> supply_parameters() {
  std::vector<Parameter> all;
  for (std::vector<Parameter> part : {source(), battery(), path()})
    all.insert(all.end(), std::make_move_iterator(part.begin()),
               std::make_move_iterator(part.end()));
  return all;
}

}  // namespace stillrotor
