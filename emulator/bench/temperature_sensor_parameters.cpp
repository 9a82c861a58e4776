// Rows of the parameter table: temperature sensors.
#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> temperature_sensor_parameters() {
  std::vector<Parameter> all;
  for (std::size_t k = 0; k < 2; ++k) {
    const std::string path = std::array{"sensors.temperature.motor.",  //
                                        "sensors.temperature.bridge."}[k];
    const auto number = [&](const char* name, double plant::TemperatureSensorParameters::*member,
                            Family family, Range range, Wanted wanted, const char* what) {
      all.push_back(real(
          path + name,
          [k, member](Draft& d) -> double& { return d.bench.drive.temperature[k].*member; }, family,
          std::move(range), std::move(wanted), what));
    };
    using Sensor = plant::TemperatureSensorParameters;
    all.push_back(choice(
        path + "kind", [k](Draft& d) -> int& { return d.temperature[k].kind; },
        {"none", "ntc", "platinum", "silicon"}, by_default("none"),
        "B equation, IEC 60751, or a parabola"));
    all.push_back(choice(
        path + "at", [k](Draft& d) -> int& { return d.temperature[k].node; },
        {"winding", "magnet", "heatsink", "junction"}, by_default(k == 0 ? "winding" : "heatsink"),
        "where it sits"));
    number("resistance", &Sensor::nominal_ohm, Family::resistance, above("0 ohm", "10000000 ohm"),
           follows("10 kohm of an NTC, else 1 kohm"), "at 25 deg C; platinum: at 0 deg C");
    number("b", &Sensor::b_K, Family::temperature, between("1000 K", "10000 K"),
           by_default("3435 K"), "of an NTC");
    number("linear", &Sensor::linear_per_K, Family::per_kelvin, between("0 /K", "0.1 /K"),
           by_default("0.00788 /K"), "of silicon");
    number("quadratic", &Sensor::quadratic_per_K2, Family::per_kelvin_squared,
           between("0 /K^2", "0.001 /K^2"), by_default("0.00001937 /K^2"), "of silicon");
    number("pull_up", &Sensor::pull_up_ohm, Family::resistance, above("0 ohm", "10000000 ohm"),
           by_default("4.7 kohm"), "from the sensor's pin to its supply");
    number("supply", &Sensor::supply_V, Family::voltage, above("0 V", "30 V"),
           follows("controller.supply"), "above the pull-up");
  }
  return all;
}

}  // namespace stillrotor
