// From the draft to the bench: machine.
#include <stdexcept>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/back_emf.hpp"
#include "emulator/bench/magnet_tables.hpp"
#include "emulator/bench/pairs.hpp"

namespace stillrotor {
namespace {

class MachineAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    if (d_.machine_kind == 0)
      permanent_magnet();
    else
      induction();
  }

 private:
  void permanent_magnet() {
    auto& machine = d_.bench.drive.machine;
    const auto from_map = [this](std::string_view path) {
      return readings_.at(path).state == Reading::State::shown;
    };
    if (!from_map("machine.inductance_d") && !readings_.given("machine.inductance_d"))
      wrong(
          "machine.inductance_d",
          "machine.inductance_d is missing; allowed above 0 H, up to 1 H, or machine.flux_map.file "
          "in its place. What it is: inductance of one winding on the magnet axis, all three fed.");
    derive("machine.inductance_q", machine.inductance_q_H, machine.inductance_d_H);
    derive("machine.inductance_zero", machine.inductance_zero_H, 0.1 * machine.inductance_d_H);
    machine.connection = static_cast<plant::Connection>(d_.connection);
    back_emf_shape();
    const bool flux = readings_.given("machine.flux_linkage") || from_map("machine.flux_linkage");
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

  void induction() {
    auto& machine = d_.induction;
    machine.pole_pairs = d_.bench.drive.machine.pole_pairs;
    derive("machine.rotor_leakage", machine.rotor_leakage_H, machine.stator_leakage_H);
    const bool straight = readings_.given("machine.magnetising_inductance");
    const bool curved = readings_.given("machine.magnetising_curve");
    if (straight == curved)
      wrong(
          curved ? "machine.magnetising_curve" : "machine.magnetising_inductance",
          fmt::format("machine.magnetising_inductance and machine.magnetising_curve are {}; "
                      "allowed one of them. The inductance is voltage over current at no load and "
                      "2 pi frequency, less the stator's leakage.",
                      curved ? "both given" : "both missing"));
    std::string problem;
    if (curved)
      for (const auto& [current_A, flux_Wb] :
           read_pairs(d_.magnetising_curve, Family::current, Family::flux_linkage, problem))
        machine.magnetising_curve.push_back({current_A, flux_Wb});
    if (!problem.empty())
      return wrong("machine.magnetising_curve",
                   fmt::format("machine.magnetising_curve: {}. Write it as {{3 A: 0.3 Wb, 7 A: 0.5 "
                               "Wb}}.",
                               problem));
    d_.bench.drive.induction = machine;
    if (!problems_.empty()) return;
    try {
      plant::InductionMachine refused_or_good(machine);
    } catch (const std::invalid_argument& e) {
      wrong(curved ? "machine.magnetising_curve" : "machine.stator_leakage", e.what());
    }
  }

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
      case BackEmfShape::table:
        if (readings_.given("machine.back_emf.file")) back_emf_table();
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
    const bool wants_table = d_.back_emf_shape == static_cast<int>(BackEmfShape::table);
    if (wants_table != readings_.given("machine.back_emf.file"))
      wrong("machine.back_emf.file",
            wants_table
                ? "machine.back_emf.file is missing; shape: table needs it. Give the file's path."
                : "machine.back_emf.file needs shape: table. Change the shape or remove it.");
    if (d_.back_emf_shape != static_cast<int>(BackEmfShape::harmonics) && !d_.harmonics.empty())
      wrong("machine.back_emf.harmonics",
            "machine.back_emf.harmonics needs shape: harmonics. Change the shape or remove them.");
  }

  /// The table's shape, and its size where it has one and nothing else says it.
  void back_emf_table() {
    auto& machine = d_.bench.drive.machine;
    Reading& file = readings_.at("machine.back_emf.file");
    d_.back_emf_file = path_of(file);
    const BackEmfTable table =
        read_back_emf(d_.back_emf_file, file.place, d_.highest_order, problems_);
    machine.back_emf = table.shape;
    if (table.shape.empty()) machine.back_emf = {{1, 1.0}};
    d_.bench.back_emf_left_out = table.left_out;
    Reading& flux = readings_.at("machine.flux_linkage");
    if (table.fundamental_Vs_rad <= 0.0 || flux.state != Reading::State::absent ||
        readings_.given("machine.speed_constant"))
      return;
    machine.flux_linkage_Wb = table.fundamental_Vs_rad / machine.pole_pairs;
    flux.state = Reading::State::shown;
  }
};

}  // namespace

void assemble_machine(Readings& readings, Draft& draft, Problems& problems) {
  MachineAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
