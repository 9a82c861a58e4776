// From the draft to the bench: sensors.
#include <charconv>
#include <cmath>
#include <numbers>
#include <string>
#include <string_view>

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
    encoder();
    current("sensors.phase_current", d_.phase_current, d_.bench.drive.phase_current,
            static_cast<plant::CurrentSensing>(d_.phase_current.kind));
    current("sensors.dc_link_current", d_.dc_link_current, d_.bench.drive.dc_link_current,
            d_.dc_link_current.kind != 0 ? plant::CurrentSensing::dc_link
                                         : plant::CurrentSensing::none);
    derive("sensors.phase_voltage.fitted", d_.bench.drive.phase_voltage.fitted,
           mentioned("sensors.phase_voltage"));
    voltage("sensors.bus_voltage", d_.bench.drive.bus_voltage);
    voltage("sensors.phase_voltage", d_.bench.drive.phase_voltage);
    sin_cos();
    absolute_angle();
    temperature("sensors.temperature.motor", 0);
    temperature("sensors.temperature.bridge", 1);
  }

 private:
  void encoder() {
    auto& encoder = d_.bench.drive.encoder;
    encoder.index_counts = 1 << d_.encoder_index;
    encoder.reversed = d_.encoder_reversed != 0;
    std::string_view rest = d_.missing_lines;
    while (!rest.empty()) {
      const std::string_view one = rest.substr(0, rest.find(','));
      rest.remove_prefix(std::min(rest.size(), one.size() + 1));
      const std::size_t first = std::min(one.find_first_not_of(' '), one.size());
      const std::string_view digits = one.substr(first, one.find_last_not_of(' ') + 1 - first);
      int line = -1;
      const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), line);
      if (error != std::errc{} || end != digits.data() + digits.size() || line < 0 ||
          line >= encoder.lines)
        return wrong("sensors.encoder.missing_lines",
                     fmt::format("sensors.encoder.missing_lines is \"{}\"; allowed line numbers "
                                 "from 0 to {} with commas between. Write for example \"3, 17\".",
                                 d_.missing_lines, encoder.lines - 1));
      encoder.missing_lines.push_back(line);
    }
  }

  void current(const std::string& path, CurrentSensorDraft& written,
               plant::CurrentSensorParameters& sensor, plant::CurrentSensing kind) {
    sensor.kind = kind;
    sensor.polarity = written.inverted != 0 ? -1.0 : 1.0;
    const double supply = d_.bench.controller_supply_V;
    derive(path + ".offset", written.offset_V, 0.5 * supply);
    derive(path + ".high_limit", sensor.high_limit_V, supply);
    ordered(path + ".low_limit", sensor.low_limit_V, path + ".high_limit", sensor.high_limit_V);
    const bool shunt = readings_.given(path + ".shunt");
    const bool gain = readings_.given(path + ".gain");
    const bool sensitivity = readings_.given(path + ".sensitivity");
    const bool complete = sensitivity ? !shunt && !gain : shunt && gain;
    if (kind != plant::CurrentSensing::none && !complete)
      wrong(path + (shunt ? ".shunt" : ".kind"),
            fmt::format("{} needs either shunt and gain, or sensitivity; nothing beside. Complete "
                        "it, for example {{shunt: 1 mohm, gain: 20}} or {{sensitivity: 20 mV/A}}.",
                        path));
    const double volts_per_ampere =
        sensitivity ? written.sensitivity_V_per_A : written.shunt_ohm * written.amplifier_gain;
    for (std::size_t k = 0; k < 3; ++k) {
      if (complete) sensor.gain_V_per_A[k] = volts_per_ampere * (1.0 + written.gain_error[k]);
      sensor.offset_V[k] = written.offset_V + written.offset_error_V[k];
    }
  }

  void voltage(const std::string& path, plant::VoltageSensorParameters& sensor) {
    derive(path + ".high_limit", sensor.high_limit_V, d_.bench.controller_supply_V);
    ordered(path + ".low_limit", sensor.low_limit_V, path + ".high_limit", sensor.high_limit_V);
  }

  void sin_cos() {
    auto& sensor = d_.bench.drive.sin_cos;
    derive("sensors.sin_cos.fitted", sensor.fitted, mentioned("sensors.sin_cos"));
    derive("sensors.sin_cos.offset", sensor.offset_V, 0.5 * d_.bench.controller_supply_V);
    derive("sensors.sin_cos.high_limit", sensor.high_limit_V, d_.bench.controller_supply_V);
    ordered("sensors.sin_cos.low_limit", sensor.low_limit_V, "sensors.sin_cos.high_limit",
            sensor.high_limit_V);
  }

  void absolute_angle() {
    auto& sensor = d_.bench.drive.absolute_angle;
    sensor.output = static_cast<plant::AngleOutput>(d_.angle_output);
    sensor.reversed = d_.angle_reversed != 0;
    sensor.ssi.gray = d_.angle_code == 0;
    sensor.spi_check = static_cast<plant::SpiCheck>(d_.spi_check);
    sensor.answers_previous = d_.spi_answer != 0;
    if (sensor.output == plant::AngleOutput::spi && sensor.bits > 14)
      wrong(
          "sensors.absolute_angle.bits",
          fmt::format("sensors.absolute_angle.bits is {}; allowed with spi: 4 to 14, the word has "
                      "no more. Use ssi for more.",
                      sensor.bits));
  }

  void temperature(const std::string& path, std::size_t k) {
    auto& sensor = d_.bench.drive.temperature[k];
    sensor.kind = static_cast<plant::TemperatureSensing>(d_.temperature[k].kind);
    sensor.node = static_cast<plant::TemperatureNode>(d_.temperature[k].node);
    derive(path + ".resistance", sensor.nominal_ohm,
           sensor.kind == plant::TemperatureSensing::ntc ? 10e3 : 1e3);
    derive(path + ".supply", sensor.supply_V, d_.bench.controller_supply_V);
  }
};

}  // namespace

void assemble_sensors(Readings& readings, Draft& draft, Problems& problems) {
  SensorAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
