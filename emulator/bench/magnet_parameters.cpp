// Rows of the parameter table: what of a magnet machine is measured in tables or changes with
// temperature, current and speed.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> magnet_parameters() {
  std::vector<Parameter> all{
      text("machine.flux_map.file", AT(flux_map_file), "a path", optional,
           "table of i_d, i_q, psi_d, psi_q (CSV), in place of inductances and flux_linkage: "
           "saturation"),
      text("machine.back_emf.file", AT(back_emf_file), "a path", optional,
           "shape: table: angle, back_emf of a phase over one electrical turn (CSV)"),
      text("machine.cogging.harmonics", AT(cogging_harmonics),
           "pairs order: torque, {24: 50 mN m, 48: 10 mN m at 30 deg}", optional,
           "torque of the magnets against the slots, periods a turn with their amplitudes"),
      text("machine.cogging.file", AT(cogging_file), "a path", optional,
           "instead of harmonics: angle, torque over a turn or a whole part of it (CSV)"),
      real("machine.iron_loss.power", AT(bench.drive.machine.iron_loss.reference_W), Family::power,
           between("0 W", "100 kW"), by_default("0 W"),
           "of hysteresis and eddy currents at no load and iron_loss.frequency"),
      real("machine.iron_loss.frequency", AT(bench.drive.machine.iron_loss.reference_frequency_Hz),
           Family::frequency, between("1 Hz", "5 kHz"), by_default("100 Hz"),
           "electrical frequency of iron_loss.power"),
      real("machine.iron_loss.hysteresis_share", AT(bench.drive.machine.iron_loss.hysteresis_share),
           Family::ratio, between("0", "1"), by_default("50 %"),
           "of iron_loss.power; the rest is eddy currents"),
      real("machine.reference_temperature", AT(bench.drive.machine.reference_temperature_K),
           Family::temperature, between("200 K", "500 K"), by_default("20 degC"),
           "at which resistance, flux and flux map were measured"),
      real("machine.winding_temperature_coefficient",
           AT(bench.drive.machine.winding_temperature_coefficient_per_K), Family::per_kelvin,
           between("-1 %/K", "1 %/K"), by_default("0.393 %/K"),
           "of the winding's resistance, at 20 degC; copper by IEC 60028"),
      real("machine.flux_temperature_coefficient",
           AT(bench.drive.machine.flux_temperature_coefficient_per_K), Family::per_kelvin,
           between("-1 %/K", "1 %/K"), by_default("-0.11 %/K"),
           "of the magnets' flux; neodymium-iron-boron, common practice"),
      real("machine.demagnetisation.knee", AT(demagnetisation_knee_A), Family::current,
           between("-10000 A", "-0.1 A"), optional,
           "i_d below which the magnets lose flux for good, at reference_temperature"),
      real("machine.demagnetisation.hot_knee", AT(demagnetisation_hot_knee_A), Family::current,
           between("-10000 A", "10000 A"), optional,
           "the same at hot_temperature, else the knee itself; straight in between and beyond"),
      real("machine.demagnetisation.hot_temperature", AT(demagnetisation_hot_K),
           Family::temperature, between("200 K", "600 K"), by_default("120 degC"),
           "of demagnetisation.hot_knee"),
      text("machine.demagnetisation.knee_over_temperature", AT(demagnetisation_knees),
           "pairs temperature: current, {20 degC: -190 A, 80 degC: -150 A, 120 degC: -90 A}",
           optional, "in place of knee and hot_knee; straight between the pairs, held beyond them"),
      real("machine.demagnetisation.lose_all_within",
           AT(bench.drive.machine.demagnetisation.lose_all_within_A), Family::current,
           above("0 A", "100000 A"), optional,
           "how much further i_d would take all flux, the slope below the knee; else the knee's "
           "size"),
  };
  for (Parameter& row : all)
    if (row.path != "machine.reference_temperature" &&
        row.path != "machine.winding_temperature_coefficient")
      row.roles = role::permanent_magnet;
  return all;
}

}  // namespace stillrotor
