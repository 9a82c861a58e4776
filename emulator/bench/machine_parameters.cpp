// Rows of the parameter table: machine.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {
constexpr std::array windings{'U', 'V', 'W'};

std::vector<Parameter> permanent_magnet() {
  std::vector<Parameter> all{
      choice("machine.connection", AT(connection), {"star", "delta"}, by_default("star"),
             "of the windings; every value of the machine is one winding's"),
      real("machine.winding_resistance", AT(bench.drive.machine.winding_resistance_ohm),
           Family::resistance, above("0 ohm", "100 ohm"), required,
           "resistance of one winding: star half of what two terminals show, delta 1.5 times that"),
      real("machine.inductance_d", AT(bench.drive.machine.inductance_d_H), Family::inductance,
           above("0 H", "1 H"), follows("flux_map.file; required without one"),
           "inductance of one winding on the magnet axis, all three fed"),
      real("machine.inductance_q", AT(bench.drive.machine.inductance_q_H), Family::inductance,
           above("0 H", "1 H"), follows("inductance_d: no saliency"),
           "inductance of one winding across the magnet axis"),
      real("machine.flux_linkage", AT(bench.drive.machine.flux_linkage_Wb), Family::flux_linkage,
           above("0 Wb", "10 Wb"), follows("speed_constant; one of the two is required"),
           "magnet flux linkage of one winding, peak of its fundamental"),
      real("machine.speed_constant", AT(speed_constant_Vs_rad), Family::speed_constant,
           above("0 V/krpm", "100000 V/krpm"), optional,
           "instead of flux_linkage: highest line-to-line back-EMF over speed"),
      choice("machine.back_emf.shape", AT(back_emf_shape),
             {"sine", "trapezoid", "harmonics", "table"}, by_default("sine"),
             "shape of the back-EMF of a phase"),
      real("machine.back_emf.flat_top", AT(flat_top_rad), Family::angle,
           between("1 deg", "179 deg"), by_default("120 deg"),
           "trapezoid: length of its flat top, electrical"),
      whole("machine.back_emf.highest_order", AT(highest_order), 1, 99, by_default("25"),
            "trapezoid, table: highest harmonic that is kept"),
      text("machine.back_emf.harmonics", AT(harmonics), "pairs order: ratio, {5: 0.04, 7: -2 %}",
           optional, "harmonics: odd orders 3 to 99 with their share of the fundamental back-EMF"),
      real("machine.inductance_zero", AT(bench.drive.machine.inductance_zero_H), Family::inductance,
           above("0 H", "1 H"), follows("a tenth of inductance_d"),
           "zero-sequence inductance of a winding: limits what circulates in a delta"),
  };
  for (std::size_t k = 0; k < windings.size(); ++k)
    all.push_back(real(
        fmt::format("machine.resistance_factor.{}", windings[k]),
        [k](Draft& d) -> double& { return d.bench.drive.machine.resistance_factor[k]; },
        Family::ratio, between("0.01", "100"), by_default("1"),
        "of this winding's resistance over winding_resistance; delta: U-V, V-W, W-U"));
  for (std::size_t k = 0; k < windings.size(); ++k)
    all.push_back(real(
        fmt::format("machine.turns_factor.{}", windings[k]),
        [k](Draft& d) -> double& { return d.bench.drive.machine.turns_factor[k]; }, Family::ratio,
        between("0.5", "2"), by_default("1"), "of this winding's turns over the nominal ones"));
  return all;
}

std::vector<Parameter> induction() {
  return {
      real("machine.stator_resistance", AT(induction.stator_resistance_ohm), Family::resistance,
           above("0 ohm", "100 ohm"), required,
           "resistance of one phase, terminal to star point: half of what two terminals show"),
      real("machine.stator_leakage", AT(induction.stator_leakage_H), Family::inductance,
           above("0 H", "1 H"), required, "leakage inductance of one phase of the stator"),
      real("machine.rotor_resistance", AT(induction.rotor_resistance_ohm), Family::resistance,
           above("0 ohm", "100 ohm"), required, "of the cage, referred to one phase of the stator"),
      real("machine.rotor_leakage", AT(induction.rotor_leakage_H), Family::inductance,
           between("0 H", "1 H"), follows("stator_leakage: the two alike"),
           "leakage inductance of the cage, referred to the stator"),
      real("machine.magnetising_inductance", AT(induction.magnetising_inductance_H),
           Family::inductance, above("0 H", "10 H"), optional,
           "of one phase, all three excited; or magnetising_curve in its place"),
      text("machine.magnetising_curve", AT(magnetising_curve),
           "pairs current: flux linkage, {3 A: 0.3 Wb, 7 A: 0.5 Wb}", optional,
           "main flux linkage over magnetising current, peak values of one phase, both rising"),
  };
}

}  // namespace

std::vector<Parameter> machine_parameters() {
  std::vector<Parameter> all{
      choice("machine.kind", AT(machine_kind), {"permanent_magnet", "induction"},
             by_default("permanent_magnet"), "magnets on the rotor, or a squirrel cage"),
      whole("machine.pole_pairs", AT(bench.drive.machine.pole_pairs), 1, 64, required,
            "pole pairs: of magnets, counted and divided by two; of a stator, 60 x frequency / "
            "synchronous rpm"),
  };
  const auto add = [&all](std::vector<Parameter> rows, unsigned kind) {
    for (Parameter& row : rows) {
      row.roles = kind;
      all.push_back(std::move(row));
    }
  };
  add(permanent_magnet(), role::permanent_magnet);
  add(induction(), role::induction);
  return all;
}

}  // namespace stillrotor
