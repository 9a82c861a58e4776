#include "emulator/bench/facts.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <variant>

#include "emulator/bench/back_emf.hpp"
#include "plant/drive.hpp"
#include "plant/shaft/shaft_law.hpp"

namespace stillrotor {
namespace {

constexpr double rpm = 2.0 * std::numbers::pi / 60.0;

/// V s/rad, mechanical.
double line_to_line_constant(const Bench& bench) {
  const auto machine = plant::equivalent_star(bench.drive.machine);
  return line_to_line_peak_ratio(machine.back_emf) * machine.flux_linkage_Wb * machine.pole_pairs;
}

double pwm_frequency(const Bench& bench) {
  if (bench.expects.pwm_frequency_Hz > 0.0) return bench.expects.pwm_frequency_Hz;
  if (const auto* c = std::get_if<io::SixStepConfig>(&bench.controller)) return c->pwm_frequency_Hz;
  if (const auto* c = std::get_if<io::FieldOrientedConfig>(&bench.controller))
    return c->pwm_frequency_Hz;
  if (const auto* c = std::get_if<io::VoltsPerHertzConfig>(&bench.controller))
    return c->pwm_frequency_Hz;
  return 0.0;
}

void at_top_speed(const Bench& bench, std::vector<Fact>& all) {
  const double top = bench.expects.top_speed_rad_s;
  const auto& drive = bench.drive;
  if (top <= 0.0) return;
  const double frequency = drive.machine.pole_pairs * top / (2.0 * std::numbers::pi);
  all.push_back({"electrical frequency at top speed", frequency, "Hz", "pole pairs x turns/s"});
  if (drive.hall.fitted)
    all.push_back({"Hall edges at top speed", 6.0 * frequency, "/s", "6 x electrical frequency"});
  if (drive.encoder.fitted)
    all.push_back({"encoder edges at top speed",
                   4.0 * drive.encoder.lines * top / (2.0 * std::numbers::pi), "/s",
                   "4 x lines x turns/s"});
  if (!drive.induction)
    all.push_back(
        {"line-to-line back-EMF at top speed", line_to_line_constant(bench) * top, "V", "peak"});
  if (drive.shaft.quadratic_drag_Nm_s2_per_rad2 > 0.0)
    all.push_back(
        {"load torque at top speed",
         drive.shaft.quadratic_drag_Nm_s2_per_rad2 * top * top + drive.shaft.static_torque_Nm,
         "N m", "static torque + quadratic drag x speed^2"});
  if (drive.shaft.cart_mass_kg > 0.0)
    all.push_back({"cart at top speed",
                   top / drive.shaft.gear_ratio * drive.shaft.wheel_radius_m * 3.6, "km/h",
                   "wheel speed x radius"});
}

void of_the_induction_machine(const plant::InductionParameters& m, std::vector<Fact>& all) {
  const plant::InductionMachine machine(m);
  all.push_back(
      {"synchronous speed at 50 Hz", 3000.0 / m.pole_pairs, "rpm", "frequency / pole pairs"});
  all.push_back({"inductance at the terminals, unsaturated", machine.inductance_new_H() * 1e3, "mH",
                 "stator leakage, and rotor leakage beside the magnetising branch"});
  all.push_back({"fastest time constant",
                 machine.inductance_min_H() / machine.transient_ohm() * 1e3, "ms",
                 "least inductance at the terminals / (R_s + R_r)"});
}

void of_the_machine(const Bench& bench, std::vector<Fact>& all) {
  if (bench.drive.induction) return of_the_induction_machine(*bench.drive.induction, all);
  const auto& drive = bench.drive;
  const auto machine = plant::equivalent_star(drive.machine);
  all.push_back({"line-to-line back-EMF per speed", line_to_line_constant(bench) * 1000.0 * rpm,
                 "V/krpm", "peak"});
  if (bench.back_emf_left_out > 0.0)
    all.push_back({"back-EMF table: largest part left out", bench.back_emf_left_out * 100.0, "%",
                   "even orders and parts out of step, of the fundamental"});
  all.push_back({"torque per ampere of i_q", 1.5 * machine.pole_pairs * machine.flux_linkage_Wb,
                 "N m/A", "1.5 x pole pairs x flux linkage; fundamental, no reluctance torque"});
  all.push_back({"electrical time constant",
                 machine.inductance_q_H / machine.winding_resistance_ohm * 1e3, "ms", "L_q / R"});
  all.push_back({"onset of rectification", rectification_onset_rad_s(bench) / rpm, "rpm",
                 "line-to-line peak = supply + 2 diodes; above it gates off is not zero torque"});
  all.push_back({"stall current, two phases on", stall_current_A(bench), "A",
                 "supply over both phases, two switches and the source"});
}

void of_the_load(const Bench& bench, std::vector<Fact>& all) {
  const auto& shaft = bench.drive.shaft;
  const plant::ShaftLaw law(shaft);
  const double lever = law.lever_m;
  all.push_back(
      {"inertia at the motor shaft", law.inertia + law.inertia_2, "kg m^2", "motor side and load"});
  if (shaft.coupling == plant::Coupling::elastic)
    all.push_back({"torsional natural frequency",
                   std::sqrt(law.stiffness * (1.0 / law.inertia + 1.0 / law.inertia_2)) /
                       (2.0 * std::numbers::pi),
                   "Hz", "sqrt(stiffness (1/J_motor + 1/J_load)) / 2 pi"});
  if (shaft.coupling == plant::Coupling::slipping)
    all.push_back({"motor torque at which the tyre lets go", law.grip / law.efficiency, "N m",
                   "peak friction x weight on the driven wheels, at the motor"});
  constexpr double gravity = 9.80665;  // m/s^2, CGPM 1901
  if (shaft.cart_mass_kg > 0.0)
    all.push_back(
        {"motor torque on a slope of 6 %",
         shaft.cart_mass_kg * gravity * lever *
             (std::sin(std::atan(0.06)) + shaft.rolling_resistance * std::cos(std::atan(0.06))) /
             law.efficiency,
         "N m", "weight and rolling resistance, at steady speed"});
}

void of_the_signals(const Bench& bench, std::vector<Fact>& all) {
  if (const double frequency = pwm_frequency(bench); frequency > 0.0)
    all.push_back({"gate edges", 12.0 * frequency, "/s", "12 x PWM frequency"});
  const auto& sensor = bench.drive.phase_current;
  if (sensor.kind != plant::CurrentSensing::none) {
    const double gain =
        *std::max_element(std::begin(sensor.gain_V_per_A), std::end(sensor.gain_V_per_A));
    const double room =
        std::min(sensor.high_limit_V - sensor.offset_V[0], sensor.offset_V[0] - sensor.low_limit_V);
    all.push_back({"current at which the sensors saturate", room / gain, "A", "either sign"});
  }
  const auto& bus = bench.drive.bus_voltage;
  all.push_back({"bus voltage at which its channel saturates", bus.high_limit_V / bus.ratio, "V",
                 "limit over divider"});
}

void of_the_steps(const Bench& bench, std::vector<Fact>& all) {
  const plant::TimeConstant quickest = plant::Drive(bench.drive).quickest();
  all.push_back(
      {"quickest time constant", quickest.seconds * 1e6, "us",
       quickest.parameter + " sets it; the plant's steps are a quarter of it or shorter"});
}

}  // namespace

double rectification_onset_rad_s(const Bench& bench) {
  return (bench.drive.supply.voltage_V + 2.0 * bench.drive.bridge.diode_voltage_V) /
         line_to_line_constant(bench);
}

double stall_current_A(const Bench& bench) {
  const auto& drive = bench.drive;
  const double current = drive.supply.voltage_V /
                         (2.0 * (plant::equivalent_star(drive.machine).winding_resistance_ohm +
                                 drive.bridge.switch_on_resistance_ohm) +
                          drive.supply.resistance_ohm);
  return drive.supply.kind == plant::SupplyKind::bench_supply
             ? std::min(current, drive.supply.current_limit_A)
             : current;
}

// Below 4 us a core that takes 1.1 us for a step behind a cable (docs/performance.md) is slower
// than the drive.
std::string remark_on_steps(const Bench& bench) {
  constexpr double unremarkable_s = 4e-6, step_takes_s = 1.1e-6;
  const plant::TimeConstant quickest = plant::Drive(bench.drive).quickest();
  if (quickest.seconds >= unremarkable_s) return {};
  const double steps_per_s = 4.0 / quickest.seconds;
  return fmt::format(
      "{} makes a time constant of {:.2g} us, so that the plant takes {:.2g} million steps a "
      "second: a run takes up to some {:.2g} times as long as it drives (at {:g} us a step), and a "
      "bench on wires may not keep up. {} {:.2g} {} would make it {:g} us.",
      quickest.parameter, quickest.seconds * 1e6, steps_per_s * 1e-6, steps_per_s * step_takes_s,
      step_takes_s * 1e6, quickest.power > 0.0 ? "At least" : "At most",
      quickest.value * std::pow(unremarkable_s / quickest.seconds, 1.0 / quickest.power),
      quickest.unit, unremarkable_s * 1e6);
}

std::vector<Fact> facts(const Bench& bench) {
  std::vector<Fact> all;
  of_the_machine(bench, all);
  of_the_load(bench, all);
  at_top_speed(bench, all);
  of_the_signals(bench, all);
  of_the_steps(bench, all);
  return all;
}

}  // namespace stillrotor
