// Rows of the parameter table: supply and DC link.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> supply_parameters() {
  return {
      choice("supply.kind", AT(supply_kind), {"battery", "bench_supply"}, by_default("battery"),
             "a battery takes current back, a bench supply cannot"),
      real("supply.voltage", AT(bench.drive.supply.voltage_V), Family::voltage,
           between("0 V", "2000 V"), required, "open-circuit or set voltage"),
      real("supply.resistance", AT(bench.drive.supply.resistance_ohm), Family::resistance,
           above("0 ohm", "100 ohm"), by_default("40 mohm"), "of the source with its cables"),
      real("supply.current_limit", AT(bench.drive.supply.current_limit_A), Family::current,
           above("0 A", "1000000000 A"), follows("none"), "bench supply: constant-current limit"),
      real("dc_link.capacitance", AT(bench.drive.dc_link.capacitance_F), Family::capacitance,
           above("0 F", "10 F"), by_default("1 mF"), "of the link at the bridge"),
      real("dc_link.series_resistance", AT(bench.drive.dc_link.series_resistance_ohm),
           Family::resistance, between("0 ohm", "10 ohm"), by_default("5 mohm"),
           "equivalent series resistance of the link"),
  };
}

}  // namespace stillrotor
