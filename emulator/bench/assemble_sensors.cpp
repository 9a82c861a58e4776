// From the draft to the bench: sensors.
#include <cmath>
#include <numbers>

#include "emulator/bench/assembly.hpp"

namespace stillrotor {
namespace {

class SensorAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    derive("sensors.hall.fitted", d_.bench.drive.hall.fitted, mentioned("sensors.hall"));
    derive("sensors.encoder.fitted", d_.bench.drive.encoder.fitted, mentioned("sensors.encoder"));
    const double spacing_deg = d_.bench.drive.hall.spacing_rad * 180.0 / std::numbers::pi;
    if (std::abs(spacing_deg - 120.0) > 1e-6 && std::abs(spacing_deg - 60.0) > 1e-6)
      wrong("sensors.hall.spacing",
            fmt::format("sensors.hall.spacing is {}; allowed 60 deg and 120 deg. Use "
                        "placement_error for what single sensors are off.",
                        readings_.at("sensors.hall.spacing").written));
    phase_current();
    auto& bus = d_.bench.drive.bus_voltage;
    derive("sensors.bus_voltage.high_limit", bus.high_limit_V, d_.bench.controller_supply_V);
    ordered("sensors.bus_voltage.low_limit", bus.low_limit_V, "sensors.bus_voltage.high_limit",
            bus.high_limit_V);
  }

 private:
  void phase_current() {
    auto& sensor = d_.bench.drive.phase_current;
    sensor.kind = static_cast<plant::CurrentSensing>(d_.current_kind);
    sensor.polarity = d_.current_inverted != 0 ? -1.0 : 1.0;
    const double supply = d_.bench.controller_supply_V;
    derive("sensors.phase_current.offset", d_.current_offset_V, 0.5 * supply);
    derive("sensors.phase_current.high_limit", sensor.high_limit_V, supply);
    ordered("sensors.phase_current.low_limit", sensor.low_limit_V,
            "sensors.phase_current.high_limit", sensor.high_limit_V);
    const bool shunt = readings_.given("sensors.phase_current.shunt");
    const bool gain = readings_.given("sensors.phase_current.gain");
    const bool sensitivity = readings_.given("sensors.phase_current.sensitivity");
    const bool complete = sensitivity ? !shunt && !gain : shunt && gain;
    if (sensor.kind != plant::CurrentSensing::none && !complete)
      wrong(shunt ? "sensors.phase_current.shunt" : "sensors.phase_current.kind",
            "sensors.phase_current needs either shunt and gain, or sensitivity; nothing beside. "
            "Complete it, for example {shunt: 1 mohm, gain: 20} or {sensitivity: 20 mV/A}.");
    const double volts_per_ampere =
        sensitivity ? d_.sensitivity_V_per_A : d_.shunt_ohm * d_.amplifier_gain;
    for (std::size_t k = 0; k < 3; ++k) {
      if (complete) sensor.gain_V_per_A[k] = volts_per_ampere * (1.0 + d_.gain_error[k]);
      sensor.offset_V[k] = d_.current_offset_V + d_.offset_error_V[k];
    }
  }
};

}  // namespace

void assemble_sensors(Readings& readings, Draft& draft, Problems& problems) {
  SensorAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
