#include "emulator/partition/refusals.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "emulator/bench/input_error.hpp"
#include "emulator/bench/origin.hpp"
#include "plant/frames.hpp"

namespace stillrotor {
namespace {

const ParameterValue* find(const Bench& bench, std::string_view path) {
  const auto found = std::find_if(bench.values.begin(), bench.values.end(),
                                  [&](const ParameterValue& v) { return v.path == path; });
  return found == bench.values.end() ? nullptr : &*found;
}

void refuse_machine(const plant::DriveParameters& d, Refusals& r) {
  r.unless(!d.induction, "machine.kind", "permanent_magnet",
           "The co-processor has no rotor flux of its own to follow.");
  if (d.induction) return;
  const plant::PermanentMagnetParameters& m = d.machine;
  r.unless(
      m.flux_map.empty(), "machine.flux_map.file", "none",
      "Its inductances are constant: give inductance_d and inductance_q of the working point.");
  constexpr const char* legs[] = {"U", "V", "W"};
  for (std::size_t k = 0; k < 3; ++k) {
    const std::string leg = legs[k];
    r.unless(m.resistance_factor[k] == 1.0, "machine.resistance_factor." + leg, "1",
             "Its windings are equal.");
    r.unless(m.turns_factor[k] == 1.0, "machine.turns_factor." + leg, "1",
             "Its windings are equal.");
  }
  const bool circulates = m.connection == plant::Connection::delta &&
                          std::any_of(m.back_emf.begin(), m.back_emf.end(), [](const auto& h) {
                            return h.order % 3 == 0 && h.ratio != 0.0;
                          });
  r.unless(!circulates, "machine.connection", "star with this back-EMF",
           "Harmonics of the order 3, 9, 15 drive a current round a delta's windings.");
  r.unless(std::none_of(m.back_emf.begin(), m.back_emf.end(),
                        [](const auto& h) { return h.order > 49 && h.ratio != 0.0; }),
           "machine.back_emf.highest_order", "1 to 49",
           "The co-processor's flux table has 256 points a turn.");
}

void refuse_bridge(const plant::DriveParameters& d, Refusals& r) {
  r.unless(d.bridge.switch_kind == plant::SwitchKind::mosfet, "bridge.switch_kind", "mosfet",
           "Its switches have no knee and conduct both ways.");
  r.unless(d.bridge.output_capacitance_F == 0.0, "bridge.output_capacitance", "0 F",
           "Its legs change over at once.");
  const plant::GateDriverParameters& g = d.gate_driver;
  constexpr const char* names[] = {"UH", "UL", "VH", "VL", "WH", "WL"};
  for (std::size_t k = 0; k < 6; ++k) {
    r.unless(g.on_delay_s[k] == 0.0,
             g.on_delay_s[k] == g.on_delay_s[0] ? std::string("bridge.driver.on_delay")
                                                : std::string("bridge.driver.on_skew.") + names[k],
             "0 s", "Shift the edge at the chip's capture.");
    r.unless(g.off_delay_s[k] == 0.0,
             g.off_delay_s[k] == g.off_delay_s[0]
                 ? std::string("bridge.driver.off_delay")
                 : std::string("bridge.driver.off_skew.") + names[k],
             "0 s", "Shift the edge at the chip's capture.");
  }
  r.unless(g.undervoltage_V == 0.0, "bridge.driver.undervoltage", "0 V",
           "Its driver has a trip only, no supply.");
  r.unless(g.bootstrap.capacitance_F == 0.0, "bridge.driver.bootstrap.capacitance", "0 F",
           "Its driver has a trip only, no bootstrap.");
}

void refuse_supply(const plant::DriveParameters& d, Refusals& r) {
  r.unless(d.supply.kind == plant::SupplyKind::battery, "supply.kind", "battery",
           "Its source gives and takes current; a supply that cannot sink it has no part there.");
  r.unless(d.supply.cable_inductance_H == 0.0, "supply.cable_inductance", "0 H",
           "Its source's current has no state.");
  r.unless(!d.supply.protection.fitted, "supply.protection.fitted", "off",
           "Its source cannot be parted from the link.");
  r.unless(!d.contactor.fitted, "contactor.fitted", "off",
           "Its source cannot be parted from the link.");
  r.unless(d.chopper.resistance_ohm == 0.0, "chopper.resistance", "0 ohm",
           "It has no resistor across the bus.");
}

void refuse_current_sensor(const plant::CurrentSensorParameters& c, const std::string& path,
                           Refusals& r) {
  if (c.kind == plant::CurrentSensing::none) return;
  r.unless(1.0 / (plant::two_pi * c.bandwidth_Hz) <= sensor_lag_allowed_s, path + ".bandwidth",
           "32 kHz or more", "Put the filter behind the converter, in hardware.");
  r.unless(c.low_limit_V == 0.0, path + ".low_limit", "0 V", "Its channels end at 0 V.");
  r.unless(c.slew_V_per_s == 0.0, path + ".slew_rate", "0 V/s", "Its channels have no slew rate.");
  r.unless(c.offset_drift_V_per_s == 0.0, path + ".offset_drift", "0 V/s",
           "Its channels do not drift.");
  r.unless(c.compression == 0.0, path + ".compression", "0 %", "Its channels are straight.");
  r.unless(c.hysteresis_A == 0.0, path + ".hysteresis", "0 A", "Its channels have no hysteresis.");
  r.unless(c.noise_V == 0.0, path + ".noise", "0 V", "Its channels have no noise of their own.");
}

void refuse_sensors(const plant::DriveParameters& d, Refusals& r) {
  refuse_current_sensor(d.phase_current, "sensors.phase_current", r);
  refuse_current_sensor(d.dc_link_current, "sensors.dc_link_current", r);
  r.unless(!d.bus_voltage.filtered(), "sensors.bus_voltage.filter", "0 s",
           "Put the filter behind the converter, in hardware.");
  r.unless(!d.phase_voltage.fitted, "sensors.phase_voltage.fitted", "off",
           "It shows no terminal voltages.");
  r.unless(!d.sin_cos.fitted, "sensors.sin_cos.fitted", "off", "Use Halls or an encoder.");
  r.unless(d.absolute_angle.output == plant::AngleOutput::none, "sensors.absolute_angle.output",
           "none", "Use Halls or an encoder.");
  r.unless(d.hall.jitter_rad == 0.0, "sensors.hall.jitter", "0 deg", "Its Halls do not jitter.");
  r.unless(d.encoder.missing_lines.empty(), "sensors.encoder.missing_lines", "none",
           "Its encoder is whole.");
  r.unless(!d.encoder.fitted || d.encoder.lines <= 16384, "sensors.encoder.lines", "1 to 16384",
           "It does not count finer.");
}

// What io/link/coprocessor/host calls the bench's parameters.
constexpr std::array<std::pair<std::string_view, std::string_view>, 15> called{{
    {"winding and switch resistance", "machine.winding_resistance"},
    {"winding_resistance", "machine.winding_resistance"},
    {"inductance_d", "machine.inductance_d"},
    {"inductance_q", "machine.inductance_q"},
    {"flux_linkage", "machine.flux_linkage"},
    {"magnets' flux", "machine.flux_linkage"},
    {"switch_on_resistance", "bridge.switch_on_resistance"},
    {"diode less switch resistance", "bridge.diode_resistance"},
    {"diode_voltage", "bridge.diode_voltage"},
    {"diode_resistance", "bridge.diode_resistance"},
    {"capacitance", "dc_link.capacitance"},
    {"link's charge", "dc_link.capacitance"},
    {"link's series resistance", "dc_link.series_resistance"},
    {"source resistance", "supply.resistance"},
    {"source's conductance", "supply.resistance"},
}};

}  // namespace

std::string Refusals::where(std::string_view path) const { return origin_of(bench_, path) + ": "; }

void Refusals::unless(bool fits, std::string_view path, std::string_view allowed,
                      std::string_view remedy) {
  if (fits) return;
  const ParameterValue* value = find(bench_, path);
  std::string text = where(path);
  text.append(path).append(" is ").append(value != nullptr ? value->written : "given");
  text.append("; allowed with a co-processor ").append(allowed).append(". ").append(remedy);
  if (std::find(messages_.begin(), messages_.end(), text) == messages_.end())
    messages_.push_back(std::move(text));
}

void Refusals::pass_on(std::string_view complaint) {
  for (const auto& [name, path] : called) {
    if (!complaint.starts_with(name)) continue;
    messages_.push_back(where(path) + std::string(path) + ": " + std::string(complaint));
    return;
  }
  messages_.push_back(bench_.file.string() + ": for the co-processor, " + std::string(complaint));
}

void Refusals::throw_if_any() const {
  if (!messages_.empty()) throw InputError(messages_);
}

void refuse_what_the_chip_lacks(const Bench& bench, Refusals& r) {
  refuse_machine(bench.drive, r);
  refuse_bridge(bench.drive, r);
  refuse_supply(bench.drive, r);
  refuse_sensors(bench.drive, r);
  r.unless(!bench.harness.lines[io::index(io::line::driver_enable)].connected,
           "harness.lines.driver_enable.pin", "none", "Its bridge has no enable.");
  r.unless(!bench.controls.pulse.fitted, "controls.command_pulse.fitted", "off",
           "It sends no pulse: wire the throttle's voltage.");
}

}  // namespace stillrotor
