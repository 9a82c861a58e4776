// Rows of the parameter table: machine.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> machine_parameters() {
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

}  // namespace stillrotor
