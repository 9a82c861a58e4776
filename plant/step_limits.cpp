#include "plant/step_limits.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <stdexcept>
#include <string>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

std::string in_short(double x) {
  char digits[32];
  return {digits,
          std::to_chars(digits, digits + sizeof digits, x, std::chars_format::general, 3).ptr};
}

void require_steps(const std::string& name, double value, const std::string& unit,
                   double time_constant_s) {
  constexpr double quickest_s = 20e-9;
  if (time_constant_s >= quickest_s) return;
  throw std::invalid_argument(name + " is " + in_short(value) + ' ' + unit +
                              ", with which this drive has a time constant of " +
                              in_short(1e9 * time_constant_s) + " ns; allowed " +
                              in_short(1.005 * value * quickest_s / time_constant_s) + ' ' + unit +
                              " or more, which makes it 20 ns.");
}

/// Of all that turns together for certain.
double motor_inertia(const ShaftLaw& shaft) {
  return shaft.coupling == Coupling::rigid ? shaft.inertia + shaft.efficiency * shaft.inertia_2
                                           : shaft.inertia;
}

}  // namespace

double longest_shaft_step_s(const ShaftLaw& shaft, const Machine& machine) {
  const double inertia = motor_inertia(shaft);
  double shortest_s = shaft.viscous > 0.0 ? inertia / shaft.viscous : 1.0;
  if (const double flux_Wb = machine.as_new().flux_linkage_Wb; flux_Wb > 0.0)
    shortest_s = std::min(shortest_s, std::sqrt(machine.inductance_min_H() * inertia / 1.5) /
                                          (machine.pole_pairs() * flux_Wb));
  return 0.125 * shortest_s;
}

double longest_turn_rad(const ShaftLaw& shaft, double pole_pairs) {
  constexpr double of_the_machine = 0.05;
  const double drag = shaft.fan + shaft.air;
  const double inertia = shaft.coupling == Coupling::rigid ? motor_inertia(shaft) : shaft.inertia_2;
  return drag > 0.0 ? std::min(of_the_machine, 0.125 * pole_pairs * inertia / (2.0 * drag))
                    : of_the_machine;
}

void refuse_endless_steps(const DriveParameters& d, const Machine& machine, const ShaftLaw& shaft,
                          double supply_ohm) {
  const double esr = d.dc_link.series_resistance_ohm,
               leg_ohm = std::max(d.bridge.switch_on_resistance_ohm, d.bridge.diode_resistance_ohm);
  require_steps("dc_link.capacitance", d.dc_link.capacitance_F, "F",
                d.dc_link.capacitance_F * (esr + supply_ohm));
  if (d.supply.cable_inductance_H > 0.0)
    require_steps("supply.cable_inductance", d.supply.cable_inductance_H, "H",
                  d.supply.cable_inductance_H / (esr + supply_ohm));
  if (shaft.viscous > 0.0)
    require_steps("load.inertia", d.shaft.inertia_kg_m2, "kg m^2",
                  motor_inertia(shaft) / shaft.viscous);
  const auto& m = d.machine;
  if (d.induction || !m.flux_map.empty()) return;
  const bool along = m.inductance_d_H <= m.inductance_q_H;
  require_steps(along ? "machine.inductance_d" : "machine.inductance_q",
                std::min(m.inductance_d_H, m.inductance_q_H), "H",
                machine.inductance_min_H() / (machine.transient_ohm() + leg_ohm));
  if (m.connection != Connection::delta) return;
  require_steps("machine.inductance_zero", m.inductance_zero_H, "H",
                4.0 * machine.winding_step_s(machine.as_new(), leg_ohm));
}

}  // namespace stillrotor::plant
