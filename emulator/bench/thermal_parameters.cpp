// Rows of the parameter table: heat paths.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> thermal_parameters() {
  const auto path = [](const char* name, Access<double> at, const char* fallback,
                       const char* text) {
    return real(std::string("thermal.") + name, std::move(at), Family::thermal_resistance,
                above("0 K/W", "1000 K/W"), by_default(fallback), text);
  };
  const auto body = [](const char* name, Access<double> at, const char* fallback,
                       const char* text) {
    return real(std::string("thermal.") + name, std::move(at), Family::heat_capacity,
                above("0 J/K", "1000000 J/K"), by_default(fallback), text);
  };
  std::vector<Parameter> all{
      on_off("thermal.fitted", AT(bench.drive.thermal.fitted), follows("on where thermal stands"),
             "temperatures move; off: they stay, and so do resistance and magnets"),
      real("thermal.ambient", AT(bench.drive.thermal.ambient_K), Family::temperature,
           between("-40 degC", "85 degC"), by_default("25 degC"),
           "of the surroundings, and of everything at the start"),
      body("winding_capacity", AT(bench.drive.thermal.winding_capacity_J_per_K), "300 J/K",
           "copper: 385 J/K a kilogram"),
      path("winding_to_housing", AT(bench.drive.thermal.winding_to_housing_K_per_W), "0.5 K/W",
           "from a heat run: rise of the winding over the housing, over its losses"),
      body("magnet_capacity", AT(bench.drive.thermal.magnet_capacity_J_per_K), "300 J/K",
           "magnets, or the cage, with what turns with them"),
      path("magnet_to_housing", AT(bench.drive.thermal.magnet_to_housing_K_per_W), "2 K/W",
           "across the air gap and the bearings"),
      body("housing_capacity", AT(bench.drive.thermal.housing_capacity_J_per_K), "2000 J/K",
           "iron and housing"),
      path("housing_to_ambient", AT(bench.drive.thermal.housing_to_ambient_K_per_W), "0.8 K/W",
           "from a heat run: rise of the housing over all losses"),
      body("heatsink_capacity", AT(bench.drive.thermal.heatsink_capacity_J_per_K), "250 J/K",
           "aluminium: 900 J/K a kilogram"),
      path("heatsink_to_ambient", AT(bench.drive.thermal.heatsink_to_ambient_K_per_W), "0.8 K/W",
           "data sheet of the heatsink"),
  };
  constexpr std::array<const char*, plant::foster_pairs_max> ordinal{"first", "second", "third",
                                                                     "fourth"};
  for (std::size_t k = 0; k < plant::foster_pairs_max; ++k) {
    all.push_back(real(
        fmt::format("thermal.junction.{}.resistance", ordinal[k]),
        [k](Draft& d) -> double& { return d.bench.drive.thermal.junction[k].resistance_K_per_W; },
        Family::thermal_resistance, between("0 K/W", "100 K/W"),
        by_default(k == 0 ? "0.5 K/W" : "0 K/W"),
        "junction of one leg to heatsink: Foster pair of the data sheet; 0: none"));
    all.push_back(real(
        fmt::format("thermal.junction.{}.time_constant", ordinal[k]),
        [k](Draft& d) -> double& { return d.bench.drive.thermal.junction[k].time_constant_s; },
        Family::time, above("0 s", "1000 s"), by_default(k == 0 ? "20 ms" : "1 ms"),
        "of this pair"));
  }
  return all;
}

}  // namespace stillrotor
