// From the draft to the bench: tables of a magnet machine, and what changes with temperature.
#include <cmath>
#include <filesystem>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/magnet_tables.hpp"
#include "emulator/bench/pairs.hpp"

namespace stillrotor {
namespace {

class MagnetAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    flux_map();
    cogging();
    demagnetisation();
  }

 private:
  void flux_map() {
    Reading& file = readings_.at("machine.flux_map.file");
    if (file.state != Reading::State::given) return;
    auto& machine = d_.bench.drive.machine;
    if (d_.connection != 0 || !machine.equal_turns())
      problems_.add(file.place,
                    "machine.flux_map.file: a flux map is that of three like windings in "
                    "star; allowed with connection: star and turns_factor 1. Give the map "
                    "of the equivalent star.");
    d_.flux_map_file = path_of(file);
    machine.flux_map = read_flux_map(d_.flux_map_file, file.place, problems_);
    plant::FluxMap::Values none{1e-2, 0.0, 1e-4, 0.0, 1e-4};  // stands in where the file is wrong
    if (!machine.flux_map.empty()) none = plant::FluxMap(machine.flux_map).at_rest();
    stands_for("machine.inductance_d", machine.inductance_d_H, none.l_dd);
    stands_for("machine.inductance_q", machine.inductance_q_H, none.l_qq);
    stands_for("machine.flux_linkage", machine.flux_linkage_Wb, none.psi_d);
    if (none.psi_d <= 0.0)
      problems_.add(file.place,
                    "machine.flux_map: psi_d is not above 0 without current; allowed a map "
                    "with the magnets' flux on +d. Turn its axes.");
  }

  /// What the map says at no current; saying it twice is refused.
  void stands_for(std::string_view path, double& member, double value) {
    if (readings_.given(path))
      wrong(path,
            fmt::format("{} and machine.flux_map.file ({}) say the same thing twice; allowed one "
                        "of them. Remove this one.",
                        path, readings_.at("machine.flux_map.file").place.text()));
    member = value;
    readings_.at(path).state = Reading::State::shown;
  }

  void cogging() {
    auto& cogging = d_.bench.drive.machine.cogging;
    Reading& file = readings_.at("machine.cogging.file");
    const bool harmonics = readings_.given("machine.cogging.harmonics");
    if (harmonics) {
      std::string problem;
      cogging = read_cogging_harmonics(d_.cogging_harmonics, problem);
      if (!problem.empty())
        wrong("machine.cogging.harmonics",
              fmt::format(
                  "machine.cogging.harmonics: {}. Write them as {{24: 50 mN m, 48: 10 mN m at 30 "
                  "deg}}.",
                  problem));
    }
    if (file.state != Reading::State::given) return;
    if (harmonics)
      wrong("machine.cogging.file",
            "machine.cogging.file and machine.cogging.harmonics say the same thing twice; allowed "
            "one "
            "of them. Remove the one you did not measure.");
    d_.cogging_file = path_of(file);
    cogging = read_cogging(d_.cogging_file, file.place, problems_);
  }

  void knee_table() {
    auto& machine = d_.bench.drive.machine;
    auto& lost = machine.demagnetisation;
    auto& knees = lost.knee_over_temperature;
    for (const char* path : {"machine.demagnetisation.knee", "machine.demagnetisation.hot_knee",
                             "machine.demagnetisation.hot_temperature"})
      if (readings_.given(path))
        wrong(path, fmt::format("{} says again what machine.demagnetisation.knee_over_temperature "
                                "says; allowed one of them. Remove it.",
                                path));
    std::string problem;
    for (const auto& [kelvin, ampere] :
         read_pairs(d_.demagnetisation_knees, Family::temperature, Family::current, problem)) {
      if (!knees.empty() && kelvin <= knees.back().x)
        problem = "a temperature that does not rise; allowed rising ones";
      if (std::abs(ampere) > 10e3)
        problem = fmt::format("{:g} A; allowed -10000 A to 10000 A", ampere);
      knees.push_back({kelvin, ampere});
    }
    if (knees.empty() && problem.empty()) problem = "no pair";
    const double reference_K = machine.reference_temperature_K;
    const double cold_A = problem.empty() ? lost.knee_at(reference_K, reference_K) : -1.0;
    if (!(cold_A >= -10e3 && cold_A <= -0.1))
      problem = fmt::format(
          "{:g} A at the reference temperature, {:g} K; allowed -10000 A to -0.1 A there", cold_A,
          reference_K);
    if (!problem.empty()) {
      knees.clear();
      wrong("machine.demagnetisation.knee_over_temperature",
            fmt::format("machine.demagnetisation.knee_over_temperature: {}. Write it as {{20 degC: "
                        "-190 A, 120 degC: -90 A}}.",
                        problem));
      return;
    }
    lost.possible = true;
    if (!readings_.given("machine.demagnetisation.lose_all_within"))
      lost.lose_all_within_A = -cold_A;
  }

  void demagnetisation() {
    auto& machine = d_.bench.drive.machine;
    auto& lost = machine.demagnetisation;
    if (readings_.given("machine.demagnetisation.knee_over_temperature")) return knee_table();
    lost.possible = readings_.given("machine.demagnetisation.knee");
    if (!lost.possible) {
      for (const char* path :
           {"machine.demagnetisation.hot_knee", "machine.demagnetisation.lose_all_within"})
        if (readings_.given(path))
          wrong(path, fmt::format("{} needs machine.demagnetisation.knee. Give it, or remove this.",
                                  path));
      return;
    }
    lost.knee_A = d_.demagnetisation_knee_A;
    if (!readings_.given("machine.demagnetisation.hot_knee"))
      d_.demagnetisation_hot_knee_A = lost.knee_A;
    if (!readings_.given("machine.demagnetisation.lose_all_within"))
      lost.lose_all_within_A = -lost.knee_A;
    const double warmer_K = d_.demagnetisation_hot_K - machine.reference_temperature_K;
    if (warmer_K < 1.0 || d_.demagnetisation_hot_knee_A < lost.knee_A)
      wrong("machine.demagnetisation.hot_knee",
            fmt::format(
                "machine.demagnetisation.hot_knee is {:g} A at {:g} K; allowed the knee, {:g} A, "
                "or nearer to 0, above the reference temperature, {:g} K.",
                d_.demagnetisation_hot_knee_A, d_.demagnetisation_hot_K, lost.knee_A,
                machine.reference_temperature_K));
    else
      lost.knee_per_K_A = (d_.demagnetisation_hot_knee_A - lost.knee_A) / warmer_K;
  }
};

}  // namespace

void assemble_magnet(Readings& readings, Draft& draft, Problems& problems) {
  MagnetAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
