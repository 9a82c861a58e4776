// From the draft to the bench: machine.
#include "emulator/bench/assembly.hpp"
#include "emulator/bench/back_emf.hpp"

namespace stillrotor {
namespace {

class MachineAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    auto& machine = d_.bench.drive.machine;
    derive("machine.inductance_q", machine.inductance_q_H, machine.inductance_d_H);
    derive("machine.inductance_zero", machine.inductance_zero_H, 0.1 * machine.inductance_d_H);
    machine.connection = static_cast<plant::Connection>(d_.connection);
    back_emf_shape();
    const bool flux = readings_.given("machine.flux_linkage");
    const bool constant = readings_.given("machine.speed_constant");
    if (flux && constant)
      wrong("machine.speed_constant",
            fmt::format("machine.speed_constant and machine.flux_linkage ({}) say the same thing "
                        "twice; allowed one of them. Remove the one you did not measure.",
                        readings_.at("machine.flux_linkage").place.text()));
    else if (!flux && !constant)
      wrong("machine.flux_linkage",
            "machine.flux_linkage is missing; allowed above 0 Wb, up to 10 Wb. Give it, or the "
            "highest line-to-line voltage over speed as machine.speed_constant.");
    if (constant && !flux && d_.speed_constant_Vs_rad > 0.0) {
      // Of the equivalent star, then of the winding.
      const auto star = plant::equivalent_star(machine);
      const double per_winding =
          machine.connection == plant::Connection::delta ? plant::sqrt3 : 1.0;
      machine.flux_linkage_Wb = per_winding * d_.speed_constant_Vs_rad /
                                (machine.pole_pairs * line_to_line_peak_ratio(star.back_emf));
      readings_.at("machine.flux_linkage").state = Reading::State::shown;
    }
  }

 private:
  void back_emf_shape() {
    auto& shape = d_.bench.drive.machine.back_emf;
    switch (static_cast<BackEmfShape>(d_.back_emf_shape)) {
      case BackEmfShape::sine:
        shape = {{1, 1.0}};
        break;
      case BackEmfShape::trapezoid:
        shape = plant::trapezoid_harmonics(d_.flat_top_rad * 180.0 / std::numbers::pi,
                                           d_.highest_order);
        break;
      case BackEmfShape::harmonics: {
        std::string problem;
        shape = read_harmonics(d_.harmonics, problem);
        if (d_.harmonics.empty())
          problem = "is missing; allowed odd orders 3 to 99 with ratios -1 to 1";
        if (!problem.empty())
          wrong("machine.back_emf.harmonics",
                fmt::format("machine.back_emf.harmonics: {}. Write them as {{5: 0.04, 7: -2 %}}.",
                            problem));
        break;
      }
    }
    if (d_.back_emf_shape != static_cast<int>(BackEmfShape::harmonics) && !d_.harmonics.empty())
      wrong("machine.back_emf.harmonics",
            "machine.back_emf.harmonics needs shape: harmonics. Change the shape or remove them.");
  }
};

}  // namespace

void assemble_machine(Readings& readings, Draft& draft, Problems& problems) {
  MachineAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
