// Rows of the parameter table: current and voltage sensors.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {
constexpr std::array legs{'U', 'V', 'W'};
}

std::vector<Parameter> electrical_sensor_parameters() {
  std::vector<Parameter> all{
      choice("sensors.phase_current.kind", AT(current_kind), {"none", "low_side_shunt", "in_line"},
             by_default("none"),
             "a low-side shunt sees the phase only while the low side conducts"),
      real("sensors.phase_current.shunt", AT(shunt_ohm), Family::resistance,
           above("0 ohm", "1 ohm"), optional, "shunt resistance; with gain"),
      real("sensors.phase_current.gain", AT(amplifier_gain), Family::ratio, above("0", "10000"),
           optional, "of the shunt amplifier, volts per volt"),
      real("sensors.phase_current.sensitivity", AT(sensitivity_V_per_A), Family::gain,
           above("0 V/A", "100 V/A"), optional, "instead of shunt and gain"),
      choice("sensors.phase_current.polarity", AT(current_inverted), {"normal", "inverted"},
             by_default("normal"), "inverted: the output falls as the sensed current grows"),
      real("sensors.phase_current.offset", AT(current_offset_V), Family::voltage,
           between("0 V", "30 V"), follows("half of controller.supply"), "output at no current"),
  };
  for (std::size_t k = 0; k < legs.size(); ++k)
    all.push_back(real(
        fmt::format("sensors.phase_current.gain_error.{}", legs[k]),
        [k](Draft& d) -> double& { return d.gain_error[k]; }, Family::ratio,
        between("-50 %", "50 %"), by_default("0 %"), "of this phase's sensor"));
  for (std::size_t k = 0; k < legs.size(); ++k)
    all.push_back(real(
        fmt::format("sensors.phase_current.offset_error.{}", legs[k]),
        [k](Draft& d) -> double& { return d.offset_error_V[k]; }, Family::voltage,
        between("-1 V", "1 V"), by_default("0 V"), "of this phase's sensor"));
  const auto add = [&](Parameter parameter) { all.push_back(std::move(parameter)); };
  add(real("sensors.phase_current.bandwidth", AT(bench.drive.phase_current.bandwidth_Hz),
           Family::frequency, between("100 Hz", "100 MHz"), by_default("200 kHz"), "first order"));
  add(real("sensors.phase_current.low_limit", AT(bench.drive.phase_current.low_limit_V),
           Family::voltage, between("0 V", "30 V"), by_default("0 V"),
           "where the output saturates"));
  add(real("sensors.phase_current.high_limit", AT(bench.drive.phase_current.high_limit_V),
           Family::voltage, above("0 V", "30 V"), follows("controller.supply"),
           "where the output saturates"));
  add(real("sensors.bus_voltage.low_limit", AT(bench.drive.bus_voltage.low_limit_V),
           Family::voltage, between("0 V", "30 V"), by_default("0 V"),
           "where the output saturates"));
  add(real("sensors.bus_voltage.high_limit", AT(bench.drive.bus_voltage.high_limit_V),
           Family::voltage, above("0 V", "30 V"), follows("controller.supply"),
           "where the output saturates"));
  return all;
}

}  // namespace stillrotor
