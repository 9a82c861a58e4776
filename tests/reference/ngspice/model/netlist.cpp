#include "tests/reference/ngspice/model/netlist.hpp"

#include <array>
#include <cstdio>
#include <numbers>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

constexpr std::array<char, 3> phase = {'u', 'v', 'w'};
constexpr std::array<const char*, plant::switch_count> gate_name = {"uh", "ul", "vh",
                                                                    "vl", "wh", "wl"};

/// Every digit of a double.
std::string text(double x) {
  std::array<char, 32> s;
  std::snprintf(s.data(), s.size(), "%.17g", x);
  return s.data();
}

void refuse_what_cannot_be_said(const SpiceExperiment& e) {
  const auto& p = e.parameters;
  if (p.machine.inductance_d_H != p.machine.inductance_q_H)
    throw std::invalid_argument("netlist: L_d and L_q differ");
  if (p.supply.kind != plant::SupplyKind::battery || p.supply.battery.moves() ||
      p.supply.protection.fitted || p.supply.cable_inductance_H != 0.0 || p.contactor.fitted ||
      p.chopper.resistance_ohm != 0.0)
    throw std::invalid_argument("netlist: the supply is more than a voltage behind a resistance");
  if (p.bridge.switch_kind != plant::SwitchKind::mosfet || p.bridge.output_capacitance_F != 0.0)
    throw std::invalid_argument("netlist: the switches are no plain resistances");
  if (p.shaft.cart_mass_kg != 0.0) throw std::invalid_argument("netlist: the shaft drives a cart");
}

/// 0 and 1 over time, in corners. A ramp up begins at its edge, a ramp down ends there.
std::string gate(const SpiceExperiment& e, int index, double ramp_s) {
  const auto line = [](double at_s, double level) {
    return "\n+ " + text(at_s) + " " + text(level);
  };
  std::string corners;
  bool on = false;
  double last_s = -1.0;
  for (const GateEdge& edge : e.edges) {
    if (static_cast<int>(edge.gate) != index || edge.on == on) continue;
    on = edge.on;
    const double at_s = 1e-12 * static_cast<double>(edge.at_ps);
    if (at_s == 0.0) {
      corners += line(0.0, 1.0);
      last_s = 0.0;
      continue;
    }
    if (corners.empty()) {
      corners += line(0.0, 0.0);
      last_s = 0.0;
    }
    const double from_s = on ? at_s : at_s - ramp_s;
    if (from_s <= last_s) throw std::invalid_argument("netlist: a pulse is shorter than its ramps");
    corners += line(from_s, on ? 0.0 : 1.0) + line(from_s + ramp_s, on ? 1.0 : 0.0);
    last_s = from_s + ramp_s;
  }
  if (corners.empty()) corners = line(0.0, 0.0);
  const std::string name = gate_name[static_cast<std::size_t>(index)];
  return "Vg" + name + " g" + name + " 0 PWL(" + corners + ")\n";
}

std::string diode(const std::string& name, const std::string& anode, const std::string& cathode,
                  const plant::BridgeParameters& b, double knee_V) {
  const std::string over = "(v(" + anode + "," + cathode + ")-" + text(b.diode_voltage_V) + ")";
  std::string current = "max(" + over + ",0)";
  if (knee_V > 0.0)
    current += "+" + text(knee_V) + "*ln(1+exp(-abs(" + over + ")/" + text(knee_V) + "))";
  return "B" + name + " " + anode + " " + cathode + " I=(" + current + ")/" +
         text(b.diode_resistance_ohm) + "\n";
}

std::string leg(int k, const plant::BridgeParameters& b, const SpiceAccuracy& a) {
  const std::string terminal = std::string("t") + phase[static_cast<std::size_t>(k)];
  const auto half = [&](int index, const std::string& upper, const std::string& lower) {
    const std::string name = gate_name[static_cast<std::size_t>(index)];
    return "Bs" + name + " " + upper + " " + lower + " I=v(" + upper + "," + lower + ")*(" +
           text(a.leak_S) + "+v(g" + name + ")/" + text(b.switch_on_resistance_ohm) + ")\n" +
           diode("d" + name, lower, upper, b, a.knee_V);
  };
  return half(2 * k, "bus", terminal) + half(2 * k + 1, terminal, "0");
}

/// psi g(theta) of one phase: the back-EMF over the electrical speed, or torque per ampere and
/// pole pair.
std::string emf_per_speed(const plant::PermanentMagnetParameters& m, int k,
                          const std::string& theta) {
  const double lag = 2.0 * std::numbers::pi * k / 3.0;
  std::string sum;
  for (const auto& [order, ratio] : shape_of(m))
    sum += "-(" + text(ratio) + ")*sin(" + std::to_string(order) + "*(" + theta + "-" + text(lag) +
           "))";
  return text(m.flux_linkage_Wb) + "*(" + sum + ")";
}

std::string machine(const SpiceExperiment& e, const std::string& theta, const std::string& omega,
                    double leak_S) {
  const auto& m = e.parameters.machine;
  std::string s;
  for (int k = 0; k < 3; ++k) {
    const std::string x(1, phase[static_cast<std::size_t>(k)]);
    s += "R" + x + " t" + x + " a" + x + " " + text(m.winding_resistance_ohm) + "\n";
    s += "L" + x + " a" + x + " b" + x + " " + text(m.inductance_d_H) + " IC=0\n";
    s += "Rp" + x + " a" + x + " b" + x + " " + text(1.0 / leak_S) + "\n";
    s += "Be" + x + " b" + x + " star V=" + omega + "*" + emf_per_speed(m, k, theta) + "\n";
  }
  return s;
}

/// v(w): mechanical speed; v(th): electrical angle.
std::string free_shaft(const SpiceExperiment& e) {
  const auto& p = e.parameters;
  const std::string pairs = std::to_string(p.machine.pole_pairs);
  std::string torque;
  for (int k = 0; k < 3; ++k)
    torque += std::string("+i(L") + phase[static_cast<std::size_t>(k)] + ")*" +
              emf_per_speed(p.machine, k, "v(th)");
  return "Cw w 0 " + text(p.shaft.inertia_kg_m2) + " IC=" + text(e.start_omega_m_rad_s) +
         "\nBw 0 w I=" + pairs + "*(" + torque + ")-" +
         text(p.shaft.viscous_friction_Nm_s_per_rad) + "*v(w)-" +
         text(p.shaft.coulomb_friction_Nm) + "-" + text(e.load_Nm) +
         "\nCth th 0 1 IC=" + text(e.start_theta_e_rad) + "\nBth 0 th I=" + pairs + "*v(w)\n";
}

}  // namespace

std::string netlist(const SpiceExperiment& e, const SpiceAccuracy& a) {
  refuse_what_cannot_be_said(e);
  const auto& p = e.parameters;
  const double omega_e = p.machine.pole_pairs * e.start_omega_m_rad_s;
  const std::string theta =
      e.speed_held ? "(" + text(e.start_theta_e_rad) + "+" + text(omega_e) + "*time)" : "v(th)";
  const std::string omega =
      e.speed_held ? text(omega_e) : std::to_string(p.machine.pole_pairs) + "*v(w)";

  std::string s = "* three-phase bridge, permanent-magnet machine, battery, DC link\n";
  s += "Vbat bat 0 " + text(p.supply.voltage_V) + "\nRbat bat bus " + text(p.supply.resistance_ohm);
  s += "\nRc bus cap " + text(p.dc_link.series_resistance_ohm) + "\nClink cap 0 " +
       text(p.dc_link.capacitance_F) + " IC=" + text(p.supply.voltage_V) + "\n";
  for (int k = 0; k < plant::switch_count; ++k) s += gate(e, k, a.gate_ramp_s);
  for (int k = 0; k < 3; ++k) s += leg(k, p.bridge, a);
  s += machine(e, theta, omega, a.leak_S);
  if (!e.speed_held) s += free_shaft(e);
  s += ".save i(Lu) i(Lv) i(Lw) v(cap)" + std::string(e.speed_held ? "" : " v(w)") + "\n";
  // chgtol: below it the flux [Wb] of a phase without current is not worth a step; 1e-9 Wb are 7
  // uA.
  s += ".options method=gear maxord=2 trtol=1 abstol=1e-9 vntol=1e-7 chgtol=1e-9 reltol=" +
       text(a.relative) + " itl4=100\n";
  s += ".tran " + text(a.step_max_s) + " " + text(e.lasts_s) + " 0 " + text(a.step_max_s) +
       " uic\n.end\n";
  return s;
}

}  // namespace stillrotor::reference
