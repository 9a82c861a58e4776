// From the draft to the bench: what follows from what, and what cannot be together.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "emulator/bench/back_emf.hpp"
#include "emulator/bench/readings.hpp"

namespace stillrotor {

// assemble_controller.cpp
void assemble_controller(Readings&, Draft&, const std::filesystem::path& build_dir, Problems&);
void assemble_harness(Readings&, Draft&, Problems&);

namespace {

class Assembler {
 public:
  Assembler(Readings& readings, Draft& draft, Problems& problems)
      : readings_(readings), d_(draft), problems_(problems) {}

  void machine() {
    auto& machine = d_.bench.drive.machine;
    derive("machine.inductance_q", machine.inductance_q_H, machine.inductance_d_H);
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
      machine.flux_linkage_Wb = d_.speed_constant_Vs_rad /
                                (machine.pole_pairs * line_to_line_peak_ratio(machine.back_emf));
      readings_.at("machine.flux_linkage").state = Reading::State::shown;
    }
  }

  void supply() {
    d_.bench.drive.supply.kind =
        d_.supply_kind == 0 ? plant::SupplyKind::battery : plant::SupplyKind::bench_supply;
    if (d_.supply_kind == 0 && readings_.given("supply.current_limit") &&
        d_.bench.drive.supply.current_limit_A < unlimited_A)
      wrong("supply.current_limit",
            "supply.current_limit does not apply to a battery; allowed with kind: bench_supply. "
            "Remove it, or change the kind.");
    derive("supply.current_limit", d_.bench.drive.supply.current_limit_A, unlimited_A);
  }

  void sensors() {
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

  void controls() {
    ordered("controls.throttle_idle", d_.bench.controls.throttle_idle_V, "controls.throttle_full",
            d_.bench.controls.throttle_full_V);
  }

 private:
  static constexpr double unlimited_A = 1e9;

  template <class T, class V>
  void derive(std::string_view path, T& member, V value) {
    Reading& reading = readings_.at(path);
    if (reading.state == Reading::State::given || !reading.applies) return;
    member = value;
    reading.state = Reading::State::derived;
  }

  void wrong(std::string_view path, std::string_view sentence) {
    problems_.add(readings_.at(path).place, sentence);
  }

  bool mentioned(const std::string& section) {
    return readings_.has_section(section) ||
           std::any_of(readings_.rows.begin(), readings_.rows.end(), [&](const Reading& row) {
             return row.state == Reading::State::given &&
                    row.parameter->path.starts_with(section + ".");
           });
  }

  void ordered(std::string_view low, double low_V, std::string_view high, double high_V) {
    if (low_V >= high_V)
      wrong(readings_.given(low) ? low : high,
            fmt::format("{} is {:g} V and {} is {:g} V; allowed only in rising order. Change one.",
                        low, low_V, high, high_V));
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

  Readings& readings_;
  Draft& d_;
  Problems& problems_;
};

}  // namespace

void assemble(Readings& readings, Draft& draft, const std::filesystem::path& build_dir,
              Problems& problems) {
  Assembler assembler(readings, draft, problems);
  assembler.machine();
  assembler.supply();
  assembler.sensors();
  assembler.controls();
  assemble_controller(readings, draft, build_dir, problems);
  assemble_harness(readings, draft, problems);
}

}  // namespace stillrotor
