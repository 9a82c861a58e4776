// Rows of the parameter table: current and voltage sensors.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {

constexpr std::array legs{'U', 'V', 'W'};

struct CurrentSensorRows {
  std::string path;
  CurrentSensorDraft Draft::*draft;
  plant::CurrentSensorParameters plant::DriveParameters::*plant;
  bool by_leg;
  std::vector<Parameter>& all;

  template <class Member>
  auto in_draft(Member member) const {
    return [ draft = draft, member ](Draft & d) -> auto& { return d.*draft.*member; };
  }
  Access<double> in_plant(double plant::CurrentSensorParameters::*member) const {
    return [plant = plant, member](Draft& d) -> double& { return d.bench.drive.*plant.*member; };
  }
  void add(Parameter parameter) const { all.push_back(std::move(parameter)); }
  void errors(const char* name, std::array<double, 3> CurrentSensorDraft::*member, Family family,
              const Range& range, const char* none) const {
    for (std::size_t k = 0; k < (by_leg ? legs.size() : 1); ++k)
      add(real(
          by_leg ? fmt::format("{}.{}.{}", path, name, legs[k]) : fmt::format("{}.{}", path, name),
          [draft = draft, member, k](Draft& d) -> double& { return (d.*draft.*member)[k]; }, family,
          range, by_default(none), by_leg ? "of this phase's sensor" : "of the sensor"));
  }

  void signal() const {
    using Written = CurrentSensorDraft;
    add(real(path + ".shunt", in_draft(&Written::shunt_ohm), Family::resistance,
             above("0 ohm", "1 ohm"), optional, "shunt resistance; with gain"));
    add(real(path + ".gain", in_draft(&Written::amplifier_gain), Family::ratio, above("0", "10000"),
             optional, "of the shunt amplifier, volts per volt"));
    add(real(path + ".sensitivity", in_draft(&Written::sensitivity_V_per_A), Family::gain,
             above("0 V/A", "100 V/A"), optional, "instead of shunt and gain"));
    add(choice(path + ".polarity", in_draft(&Written::inverted), {"normal", "inverted"},
               by_default("normal"), "inverted: the output falls as the sensed current grows"));
    add(real(path + ".offset", in_draft(&Written::offset_V), Family::voltage,
             between("0 V", "30 V"), follows("half of controller.supply"), "output at no current"));
    errors("gain_error", &Written::gain_error, Family::ratio, between("-50 %", "50 %"), "0 %");
    errors("offset_error", &Written::offset_error_V, Family::voltage, between("-1 V", "1 V"),
           "0 V");
  }
  void amplifier() const {
    using Sensor = plant::CurrentSensorParameters;
    add(real(path + ".bandwidth", in_plant(&Sensor::bandwidth_Hz), Family::frequency,
             between("100 Hz", "100 MHz"), by_default("200 kHz"), "first order"));
    add(real(path + ".slew_rate", in_plant(&Sensor::slew_V_per_s), Family::voltage_slew,
             between("0 V/s", "1000000000000 V/s"), by_default("0 V/s"),
             "the output's fastest change; 0 V/s: not limited"));
    add(real(path + ".low_limit", in_plant(&Sensor::low_limit_V), Family::voltage,
             between("0 V", "30 V"), by_default("0 V"), "where the output saturates"));
    add(real(path + ".high_limit", in_plant(&Sensor::high_limit_V), Family::voltage,
             above("0 V", "30 V"), follows("controller.supply"), "where the output saturates"));
    add(real(path + ".offset_drift", in_plant(&Sensor::offset_drift_V_per_s), Family::voltage_slew,
             between("-1 V/s", "1 V/s"), by_default("0 V/s"), "since the start of the run"));
    add(real(path + ".compression", in_plant(&Sensor::compression), Family::ratio,
             between("0 %", "30 %"), by_default("0 %"),
             "what is missing at full_scale; grows with the cube of the current"));
    add(real(path + ".full_scale", in_plant(&Sensor::full_scale_A), Family::current,
             above("0 A", "10000 A"), by_default("100 A"), "where compression is stated"));
    add(real(path + ".hysteresis", in_plant(&Sensor::hysteresis_A), Family::current,
             between("0 A", "100 A"), by_default("0 A"), "full width, of a magnetic sensor"));
    add(real(path + ".noise", in_plant(&Sensor::noise_V), Family::voltage, between("0 V", "1 V"),
             by_default("0 V"), "rms, white, at the output"));
  }
};

Parameter filter(const char* path, Access<double> at) {
  return real(path, std::move(at), Family::time, between("0 s", "1 s"), by_default("0 s"),
              "time constant of the divider's RC filter; 0 s: none");
}
Parameter low_limit(const char* path, Access<double> at) {
  return real(path, std::move(at), Family::voltage, between("0 V", "30 V"), by_default("0 V"),
              "where the output saturates");
}
Parameter high_limit(const char* path, Access<double> at) {
  return real(path, std::move(at), Family::voltage, above("0 V", "30 V"),
              follows("controller.supply"), "where the output saturates");
}

}  // namespace

std::vector<Parameter> electrical_sensor_parameters() {
  using plant::DriveParameters;
  std::vector<Parameter> all;
  const CurrentSensorRows phase{"sensors.phase_current", &Draft::phase_current,
                                &DriveParameters::phase_current, true, all};
  phase.add(choice("sensors.phase_current.kind", AT(phase_current.kind),
                   {"none", "low_side_shunt", "in_line"}, by_default("none"),
                   "a low-side shunt sees the phase only while the low side conducts"));
  for (std::size_t k = 0; k < legs.size(); ++k)
    phase.add(on_off(
        fmt::format("sensors.phase_current.fitted.{}", legs[k]),
        [k](Draft& d) -> bool& { return d.bench.drive.phase_current.fitted[k]; }, by_default("on"),
        "this phase has a sensor"));
  phase.signal();
  phase.amplifier();
  const CurrentSensorRows link{"sensors.dc_link_current", &Draft::dc_link_current,
                               &DriveParameters::dc_link_current, false, all};
  link.add(choice("sensors.dc_link_current.kind", AT(dc_link_current.kind), {"none", "shunt"},
                  by_default("none"), "one sensor between DC link and bridge"));
  link.signal();
  link.amplifier();
  link.add(filter("sensors.bus_voltage.filter", AT(bench.drive.bus_voltage.filter_s)));
  link.add(low_limit("sensors.bus_voltage.low_limit", AT(bench.drive.bus_voltage.low_limit_V)));
  link.add(high_limit("sensors.bus_voltage.high_limit", AT(bench.drive.bus_voltage.high_limit_V)));
  link.add(on_off("sensors.phase_voltage.fitted", AT(bench.drive.phase_voltage.fitted),
                  follows("on where sensors.phase_voltage stands"),
                  "dividers at the three terminals, and at their star point"));
  link.add(filter("sensors.phase_voltage.filter", AT(bench.drive.phase_voltage.filter_s)));
  link.add(low_limit("sensors.phase_voltage.low_limit", AT(bench.drive.phase_voltage.low_limit_V)));
  link.add(
      high_limit("sensors.phase_voltage.high_limit", AT(bench.drive.phase_voltage.high_limit_V)));
  return all;
}

}  // namespace stillrotor
