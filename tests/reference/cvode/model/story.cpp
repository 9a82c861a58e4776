#include "tests/reference/cvode/model/story.hpp"

#include <cmath>
#include <cstdio>

namespace stillrotor::reference {

std::string told(const Experiment& e) {
  const auto& p = e.parameters;
  const auto& m = p.machine;
  char text[2000];
  int at = std::snprintf(
      text, sizeof text,
      "%zu gate edges, L %.0f/%.0f uH, R %.1f mohm, psi %.2f mWb, %zu harmonics, %.0f rad/s "
      "(electrical)%s, %.1f V %s, link %.2f mF + %.1f mohm, open leg %d, %s, R x %.2f %.2f %.2f, "
      "turns x %.2f %.2f %.2f, cable %.1f uH",
      e.edges.size(), 1e6 * m.inductance_d_H, 1e6 * m.inductance_q_H,
      1e3 * m.winding_resistance_ohm, 1e3 * m.flux_linkage_Wb, m.back_emf.size(),
      e.start_omega_m_rad_s * p.pole_pairs(), e.speed_held ? " held" : "", p.supply.voltage_V,
      p.supply.kind == plant::SupplyKind::battery ? "battery" : "bench supply",
      1e3 * p.dc_link.capacitance_F, 1e3 * p.dc_link.series_resistance_ohm, e.open_leg,
      m.connection == plant::Connection::delta ? "delta" : "star", m.resistance_factor[0],
      m.resistance_factor[1], m.resistance_factor[2], m.turns_factor[0], m.turns_factor[1],
      m.turns_factor[2], 1e6 * p.supply.cable_inductance_H);
  const auto add = [&](const char* what, auto... values) {
    if (at < static_cast<int>(sizeof text) - 120)
      at += std::snprintf(text + at, sizeof text - static_cast<std::size_t>(at), what, values...);
  };
  if (p.bridge.switch_kind == plant::SwitchKind::igbt) add(", IGBT %.2f V", p.bridge.switch_knee_V);
  if (p.bridge.output_capacitance_F > 0.0)
    add(", output capacitances %.2f nF", 1e9 * p.bridge.output_capacitance_F);
  if (p.bridge.switching.on_J > 0.0)
    add(", switching %.1f %.1f %.1f uJ", 1e6 * p.bridge.switching.on_J,
        1e6 * p.bridge.switching.off_J, 1e6 * p.bridge.switching.recovery_J);
  if (p.supply.battery.moves())
    add(", battery of %.3g C at %.3f, branch %.4f ohm %.2g s", p.supply.battery.capacity_C,
        p.supply.battery.charge, p.supply.battery.branch[0].resistance_ohm,
        p.supply.battery.branch[0].time_s);
  if (p.contactor.fitted)
    add(", contactor %d, pre-charge %.2f ohm", p.contactor.closed_at_start,
        p.contactor.pre_charge_ohm);
  if (p.supply.fold_back_A >= 0.0)
    add(", limit %.1f A folds back to %.1f A", p.supply.current_limit_A, p.supply.fold_back_A);
  if (p.supply.voltage_loop_Hz > 0.0)
    add(", limit %.1f A, loops %.0f and %.0f Hz", p.supply.current_limit_A,
        p.supply.voltage_loop_Hz, p.supply.current_loop_Hz);
  if (e.supply_V_per_s != 0.0) add(", supply %.0f V/s", e.supply_V_per_s);
  if (e.ripple_V != 0.0) add(", ripple %.2f V at %.0f Hz", e.ripple_V, e.ripple_Hz);
  if (p.chopper.resistance_ohm > 0.0)
    add(", chopper %.2f ohm %.1f to %.1f V", p.chopper.resistance_ohm, p.chopper.off_V,
        p.chopper.on_V);
  if (p.shaft.coupling != plant::Coupling::rigid || p.shaft.load_inertia_kg_m2 > 0.0)
    add(", coupling %d, gear %.2f at %.2f", static_cast<int>(p.shaft.coupling), p.shaft.gear_ratio,
        p.shaft.gear_efficiency);
  if (p.shaft.coulomb_friction_Nm + p.shaft.static_torque_Nm + p.shaft.cart_mass_kg > 0.0)
    add(", friction %.3g + %.3g Nm, cart %.3g kg, slope %.2f, wind %.1f m/s, pedal %.2g Nm",
        p.shaft.coulomb_friction_Nm, p.shaft.static_torque_Nm, p.shaft.cart_mass_kg,
        e.road.slope.value, e.road.wind_m_s.value, e.road.pedal_Nm.value);
  if (p.shaft.constant_power_W > 0.0)
    add(", power %.3g W above %.3g rad/s", p.shaft.constant_power_W, p.shaft.power_floor_rad_s);
  if (!m.cogging.empty()) add(", cogging %.3f Nm", m.cogging[0].amplitude_Nm);
  if (m.iron_loss.reference_W > 0.0) add(", iron %.1f W", m.iron_loss.reference_W);
  if (e.iron) add(", iron bends at %.1f %.1f A", e.iron->a, e.iron->b);
  if (p.induction)
    add(", cage: L %.0f %.0f %.0f uH, R %.1f mohm", 1e6 * p.induction->stator_leakage_H,
        1e6 * p.induction->rotor_leakage_H, 1e6 * p.induction->magnetising_inductance_H,
        1e3 * p.induction->rotor_resistance_ohm);
  static constexpr const char* change[] = {
      "cut",         "part supply",     "bounce supply", "bounced",
      "contactor",   "contactor moved", "weak supply",   "chopper",
      "joint",       "turns' short",    "phases' short", "temperatures",
      "lose flux",   "end turns",       "end phases",    "ground",
      "switch open", "switch shorted",  "pulse",         "freewheel"};
  for (const Change& c : e.changes)
    add(", %s at %.0f us: leg %d, on %d, %.4f ohm, share %.2f, %.2f uH, %.2f us, switch %d, fault "
        "%d, "
        "%.0f %.0f K",
        change[static_cast<int>(c.kind)], 1e-6 * static_cast<double>(c.at_ps), c.leg, c.on, c.ohm,
        c.share, 1e6 * c.henry, 1e6 * c.seconds, static_cast<int>(c.which),
        static_cast<int>(c.fault), c.winding_K, c.rotor_K);
  return text;
}

}  // namespace stillrotor::reference
