#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

using namespace rows;
constexpr std::array legs{'U', 'V', 'W'};

std::vector<Parameter> machine() {
  return {
      whole("machine.pole_pairs", AT(bench.drive.machine.pole_pairs), 1, 64, required,
            "pole pairs of the rotor: its magnets, counted and divided by two"),
      real("machine.winding_resistance", AT(bench.drive.machine.winding_resistance_ohm),
           Family::resistance, above("0 ohm", "100 ohm"), required,
           "resistance of one phase, terminal to star point: half of what two terminals show"),
      real("machine.inductance_d", AT(bench.drive.machine.inductance_d_H), Family::inductance,
           above("0 H", "1 H"), required, "inductance of one phase on the magnet axis"),
      real("machine.inductance_q", AT(bench.drive.machine.inductance_q_H), Family::inductance,
           above("0 H", "1 H"), follows("inductance_d: no saliency"),
           "inductance of one phase across the magnet axis"),
      real("machine.flux_linkage", AT(bench.drive.machine.flux_linkage_Wb), Family::flux_linkage,
           above("0 Wb", "10 Wb"), follows("speed_constant; one of the two is required"),
           "magnet flux linkage of one phase, peak of its fundamental"),
      real("machine.speed_constant", AT(speed_constant_Vs_rad), Family::speed_constant,
           above("0 V/krpm", "100000 V/krpm"), optional,
           "instead of flux_linkage: highest line-to-line back-EMF over speed"),
      choice("machine.back_emf.shape", AT(back_emf_shape), {"sine", "trapezoid", "harmonics"},
             by_default("sine"), "shape of the back-EMF of a phase"),
      real("machine.back_emf.flat_top", AT(flat_top_rad), Family::angle,
           between("1 deg", "179 deg"), by_default("120 deg"),
           "trapezoid: length of its flat top, electrical"),
      whole("machine.back_emf.highest_order", AT(highest_order), 1, 99, by_default("25"),
            "trapezoid: highest harmonic that is kept"),
      text("machine.back_emf.harmonics", AT(harmonics), "pairs order: ratio, {5: 0.04, 7: -2 %}",
           optional, "harmonics: odd orders 3 to 99 with their share of the fundamental back-EMF"),
  };
}

std::vector<Parameter> bridge_and_supply() {
  return {
      real("bridge.switch_on_resistance", AT(bench.drive.bridge.switch_on_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("4 mohm"),
           "of one switch; it conducts both ways"),
      real("bridge.diode_voltage", AT(bench.drive.bridge.diode_voltage_V), Family::voltage,
           between("0 V", "5 V"), by_default("0.8 V"), "knee of the freewheel diodes"),
      real("bridge.diode_resistance", AT(bench.drive.bridge.diode_resistance_ohm),
           Family::resistance, above("0 ohm", "10 ohm"), by_default("3 mohm"),
           "slope of the diodes above the knee"),
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

std::vector<Parameter> load() {
  return {
      real("load.inertia", AT(bench.drive.shaft.inertia_kg_m2), Family::inertia,
           above("0 kg m^2", "10000 kg m^2"), required, "rotor and what turns with it"),
      real("load.viscous_friction", AT(bench.drive.shaft.viscous_friction_Nm_s_per_rad),
           Family::viscous_friction, between("0 N m s/rad", "1000 N m s/rad"),
           by_default("0 N m s/rad"), "friction torque over speed, at the motor shaft"),
      real("load.coulomb_friction", AT(bench.drive.shaft.coulomb_friction_Nm), Family::torque,
           between("0 N m", "10000 N m"), by_default("0 N m"),
           "friction torque that does not depend on speed, at the motor shaft"),
      real("load.cart_mass", AT(bench.drive.shaft.cart_mass_kg), Family::mass,
           between("0 kg", "100000 kg"), by_default("0 kg"), "cart, driver and goods; 0: no cart"),
      real("load.wheel_radius", AT(bench.drive.shaft.wheel_radius_m), Family::length,
           above("0 m", "10 m"), by_default("250 mm"), "rolling radius of the driven wheel"),
      real("load.gear_ratio", AT(bench.drive.shaft.gear_ratio), Family::ratio, above("0", "1000"),
           by_default("1"), "motor turns per wheel turn"),
      real("load.rolling_resistance", AT(bench.drive.shaft.rolling_resistance), Family::ratio,
           between("0", "1"), by_default("0"), "force over weight"),
  };
}

std::vector<Parameter> position_sensors() {
  std::vector<Parameter> all{
      on_off("sensors.hall.fitted", AT(bench.drive.hall.fitted),
             follows("on where sensors.hall stands"), "three Hall switches on the machine"),
      real("sensors.hall.spacing", AT(bench.drive.hall.spacing_rad), Family::angle,
           between("60 deg", "120 deg"), by_default("120 deg"), "120 or 60 degrees, electrical"),
  };
  for (std::size_t k = 0; k < legs.size(); ++k)
    all.push_back(real(
        fmt::format("sensors.hall.placement_error.{}", legs[k]),
        [k](Draft& d) -> double& { return d.bench.drive.hall.placement_error_rad[k]; },
        Family::angle, between("-30 deg", "30 deg"), by_default("0 deg"),
        "electrical; positive: the line flips late"));
  all.push_back(real("sensors.hall.hysteresis", AT(bench.drive.hall.hysteresis_rad), Family::angle,
                     between("0 deg", "29 deg"), by_default("0 deg"), "full width, electrical"));
  all.push_back(on_off("sensors.encoder.fitted", AT(bench.drive.encoder.fitted),
                       follows("on where sensors.encoder stands"), "incremental encoder A, B, Z"));
  all.push_back(whole("sensors.encoder.lines", AT(bench.drive.encoder.lines), 1, 100'000,
                      by_default("256"), "lines a turn; four counts each"));
  all.push_back(real("sensors.encoder.index", AT(bench.drive.encoder.index_rad), Family::angle,
                     between("-360 deg", "360 deg"), by_default("0 deg"),
                     "mechanical angle of the index pulse"));
  return all;
}

std::vector<Parameter> current_and_voltage_sensors() {
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

}  // namespace

std::vector<Parameter> plant_parameters() {
  std::vector<Parameter> all;
  for (auto section :
       {machine(), bridge_and_supply(), load(), position_sensors(), current_and_voltage_sensors()})
    all.insert(all.end(), section.begin(), section.end());
  return all;
}

}  // namespace stillrotor
