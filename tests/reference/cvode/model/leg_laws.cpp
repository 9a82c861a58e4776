#include "tests/reference/cvode/model/leg_laws.hpp"

namespace stillrotor::reference {

Thevenin thevenin(LegMode m, const plant::BridgeParameters& b) {
  const double on = b.switch_on_resistance_ohm, diode = b.diode_resistance_ohm;
  const double knee = b.switch_kind == plant::SwitchKind::igbt ? b.switch_knee_V : 0.0;
  switch (m) {
    case LegMode::low_switch:
      return {0.0, knee, on};
    case LegMode::high_switch:
      return {1.0, -knee, on};
    case LegMode::low_diode:
      return {0.0, -b.diode_voltage_V, diode};
    case LegMode::high_diode:
      return {1.0, b.diode_voltage_V, diode};
    case LegMode::both_switches:  // an IGBT's knees are left out here
      return {0.5, 0.0, 0.5 * on};
    case LegMode::low_shared:
    case LegMode::high_shared: {
      // -i = (v - rail) / R_on + (v - rail -+ V_f) / R_d
      const double shared_V = b.diode_voltage_V * on / (on + diode);
      const bool high = m == LegMode::high_shared;
      return {high ? 1.0 : 0.0, high ? shared_V : -shared_V, on * diode / (on + diode)};
    }
    case LegMode::swinging_down:
    case LegMode::swinging_up:
      return {0.5, 0.0, 0.0};
    case LegMode::floating:
    case LegMode::grounded_alone:
      break;
  }
  return {};
}

Offer offer(bool high_on, bool low_on, const plant::BridgeParameters& b) {
  const bool one_way = b.switch_kind == plant::SwitchKind::igbt;
  if (high_on && low_on) return {LegMode::both_switches, LegMode::both_switches};
  if (high_on) return {LegMode::high_switch, one_way ? LegMode::high_diode : LegMode::high_switch};
  if (low_on) return {one_way ? LegMode::low_diode : LegMode::low_switch, LegMode::low_switch};
  return {LegMode::low_diode, LegMode::high_diode};
}

double over_knee(bool high, double i_A, const plant::BridgeParameters& b) {
  return (high ? -i_A : i_A) * b.switch_on_resistance_ohm - b.diode_voltage_V;
}

bool on_low_side(LegMode m) {
  return m == LegMode::low_switch || m == LegMode::low_diode || m == LegMode::low_shared;
}

bool on_high_side(LegMode m) {
  return m == LegMode::high_switch || m == LegMode::high_diode || m == LegMode::high_shared;
}

BusDiodes bus_diodes(const AbcInputs& in, const plant::BridgeParameters& b) {
  double of_one = 0.0, of_two = 0.0;
  const bool both_ways = b.switch_kind == plant::SwitchKind::mosfet;
  for (std::size_t k = 0; k < 3; ++k)
    if (both_ways && (in.gate[2 * k] || in.gate[2 * k + 1]))
      of_one += 1.0 / (b.diode_resistance_ohm + b.switch_on_resistance_ohm);
    else
      of_two += 1.0 / (2.0 * b.diode_resistance_ohm);
  if (of_one > 0.0) return {b.diode_voltage_V, of_one};
  return {2.0 * b.diode_voltage_V, of_two};
}

}  // namespace stillrotor::reference
