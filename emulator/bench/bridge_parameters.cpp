// Rows of the parameter table: bridge.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> bridge_parameters() {
  return {
      real("bridge.switch_on_resistance", AT(bench.drive.bridge.switch_on_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("4 mohm"),
           "of one switch; it conducts both ways"),
      real("bridge.diode_voltage", AT(bench.drive.bridge.diode_voltage_V), Family::voltage,
           between("0 V", "5 V"), by_default("0.8 V"), "knee of the freewheel diodes"),
      real("bridge.diode_resistance", AT(bench.drive.bridge.diode_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("3 mohm"),
           "slope of the diodes above the knee"),
  };
}

}  // namespace stillrotor
