#include "plant/step_limits.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <stdexcept>
#include <string>

#include "plant/drive.hpp"
#include "plant/supply/bus_law.hpp"

namespace stillrotor::plant {
namespace {

std::string in_short(double x) {
  char digits[32];
  return {digits,
          std::to_chars(digits, digits + sizeof digits, x, std::chars_format::general, 3).ptr};
}

/// Of all that turns together for certain.
double motor_inertia(const ShaftLaw& shaft) {
  return shaft.coupling == Coupling::rigid ? shaft.inertia + shaft.efficiency * shaft.inertia_2
                                           : shaft.inertia;
}

using TimeConstants = std::vector<TimeConstant>;

void add_supply(TimeConstants& all, const DriveParameters& d, double supply_ohm) {
  const SupplyParameters& s = d.supply;
  const double cable_H = s.cable_inductance_H,
               in_series_ohm = d.dc_link.series_resistance_ohm + supply_ohm;
  all.push_back({"dc_link.capacitance", d.dc_link.capacitance_F, "F",
                 d.dc_link.capacitance_F * in_series_ohm});
  if (cable_H > 0.0)
    all.push_back({"supply.cable_inductance", cable_H, "H", cable_H / in_series_ohm});
  const SupplyLaw law(s);
  if (!law.regulated) return;
  const double gain = law.current_gain_V_per_A_s;
  all.push_back({"supply.current_loop", s.current_loop_Hz, "Hz",
                 cable_H > 0.0 ? std::sqrt(cable_H / gain) : in_series_ohm / gain,
                 cable_H > 0.0 ? -0.5 : -1.0});
}

void add_windings(TimeConstants& all, const DriveParameters& d, const Machine& machine,
                  double leg_ohm) {
  const double time_constant_s = machine.inductance_min_H() / (machine.transient_ohm() + leg_ohm);
  const auto& m = d.machine;
  if (d.induction) {
    all.push_back({"machine.stator_leakage", d.induction->stator_leakage_H, "H", time_constant_s});
  } else if (!m.flux_map.empty()) {
    all.push_back({"machine.flux_map.file (its least incremental inductance)",
                   machine.inductance_min_H(), "H", time_constant_s});
  } else {
    const bool along = m.inductance_d_H <= m.inductance_q_H;
    all.push_back({along ? "machine.inductance_d" : "machine.inductance_q",
                   std::min(m.inductance_d_H, m.inductance_q_H), "H", time_constant_s});
    if (m.connection == Connection::delta)
      all.push_back({"machine.inductance_zero", m.inductance_zero_H, "H",
                     8.0 * machine.winding_step_s(machine.as_new(), leg_ohm)});
  }
}

void add_shaft(TimeConstants& all, const ShaftParameters& s, const ShaftLaw& shaft) {
  if (shaft.viscous > 0.0)
    all.push_back(
        {"load.inertia", s.inertia_kg_m2, "kg m^2", motor_inertia(shaft) / shaft.viscous});
  const double joint = 1.0 / shaft.inertia + (shaft.inertia_2 > 0.0 ? 1.0 / shaft.inertia_2 : 0.0);
  if (s.coupling == Coupling::elastic) {
    all.push_back({"load.spring.stiffness", s.stiffness_Nm_per_rad, "N m/rad",
                   1.0 / std::sqrt(s.stiffness_Nm_per_rad * joint), -0.5});
    if (s.torsion_damping_Nm_s_per_rad > 0.0)
      all.push_back({"load.spring.damping", s.torsion_damping_Nm_s_per_rad, "N m s/rad",
                     1.0 / (s.torsion_damping_Nm_s_per_rad * joint), -1.0});
  }
  if (s.hold_gain_Nm_s_per_rad > 0.0)
    all.push_back({"load.dynamometer.gain", s.hold_gain_Nm_s_per_rad, "N m s/rad",
                   motor_inertia(shaft) / s.hold_gain_Nm_s_per_rad, -1.0});
}

}  // namespace

double longest_shaft_step_s(const ShaftLaw& shaft, const Machine& machine) {
  const double inertia = motor_inertia(shaft), flux_Wb = machine.as_new().flux_linkage_Wb;
  // Currents add to the magnets' flux about as much again.
  const double iron_Wb = 2.0 * flux_Wb;
  const double damping = shaft.viscous + machine.iron().steepest_per_rad_s() * iron_Wb * iron_Wb;
  double shortest_s = damping > 0.0 ? inertia / damping : 1.0;
  if (flux_Wb > 0.0)
    shortest_s = std::min(shortest_s, std::sqrt(machine.inductance_min_H() * inertia / 1.5) /
                                          (machine.pole_pairs() * flux_Wb));
  return 0.125 * shortest_s;
}

double longest_turn_rad(const ShaftLaw& shaft, const Machine& machine) {
  constexpr double of_usual_saliency = 0.05, usual_saliency = 5.0;
  const double pole_pairs = machine.pole_pairs();
  const double of_the_machine =
      of_usual_saliency * std::sqrt(std::min(1.0, usual_saliency / machine.saliency()));
  const double drag = shaft.fan + shaft.air;
  const double inertia = shaft.coupling == Coupling::rigid ? motor_inertia(shaft) : shaft.inertia_2;
  return drag > 0.0 ? std::min(of_the_machine, 0.125 * pole_pairs * inertia / (2.0 * drag))
                    : of_the_machine;
}

std::vector<TimeConstant> time_constants(const DriveParameters& d, const Machine& machine,
                                         const ShaftLaw& shaft, double supply_ohm, double leg_ohm) {
  TimeConstants all;
  add_supply(all, d, supply_ohm);
  add_windings(all, d, machine, leg_ohm);
  add_shaft(all, d.shaft, shaft);
  return all;
}

void refuse_endless_steps(const std::vector<TimeConstant>& all) {
  constexpr double quickest_s = 20e-9, rounding = 1.005;
  for (const TimeConstant& t : all) {
    if (t.seconds >= quickest_s) continue;
    const double factor = std::pow(quickest_s / t.seconds, 1.0 / t.power);
    throw std::invalid_argument(
        t.parameter + " is " + in_short(t.value) + ' ' + t.unit +
        ", with which this drive has a time constant of " + in_short(1e9 * t.seconds) +
        " ns; allowed " + in_short(t.value * factor * (factor > 1.0 ? rounding : 1.0 / rounding)) +
        ' ' + t.unit + (factor > 1.0 ? " or more" : " or less") + ", which makes it 20 ns.");
  }
}

}  // namespace stillrotor::plant
