// Rows of the parameter table: machine.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {
constexpr std::array windings{'U', 'V', 'W'};
}

std::vector<Parameter> machine_parameters() {
  std::vector<Parameter> all{
      whole("machine.pole_pairs", AT(bench.drive.machine.pole_pairs), 1, 64, required,
            "pole pairs of the rotor: its magnets, counted and divided by two"),
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

}  // namespace stillrotor
