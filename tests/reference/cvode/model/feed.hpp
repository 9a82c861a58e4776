// Supply, cable, chopper and link: the bus and what moves the supply's states.
//   C dv_C/dt = i_supply - i_bridge,  v = v_C + ESR (i_supply - i_bridge)
//   battery, bench supply within its limits   i = (v_source - v) / R, or through a cable
//                                              L di/dt = v_source - R i - v
//   limited   i = limit - fold-back slope (v_set - v);   loops of finite speed, lower one rules:
//             dv_source/dt = min(w_v (v_set - v_source + R i), k (limit - i))
//   battery   v_source = set voltage + OCV(z) - OCV(start) - sum v_k,  dz/dt = -i / capacity,
//             dv_k/dt = (R_k i - v_k) / tau_k;  its resistance by its temperature
//   path      what stands in it adds to R, but for the loops
//   chopper   a resistor across the bus
// Source: plant/supply/supply.hpp's model, written down anew.
#pragma once

#include "tests/reference/cvode/model/circuit_state.hpp"

namespace stillrotor::reference {

/// What legs and shorted bridge ask of the bus: i = drawn_A + conductance_S * v.
struct AcrossBus {
  double drawn_A = 0.0, conductance_S = 0.0;
};

class Feed {
 public:
  explicit Feed(const plant::DriveParameters& p)
      : supply_(p.supply), link_(p.dc_link), chopper_(p.chopper) {}

  /// Fills the bus, the supply's currents and its states' rates.
  void rates(const AbcState&, const AbcInputs&, const AbcModes&, AcrossBus, AbcRates&) const;
  /// How far the modes of supply and chopper are violated [V or A]; > 0: they do not fit.
  double violation(const AbcState&, const AbcModes&, const AbcRates&) const;
  /// Whether the mode may begin here: a current at a limit must go the mode's way.
  bool may_begin(const AbcState&, const AbcModes&, const AbcRates&) const;
  /// The cable's current as the mode has it.
  void settle(AbcState&, const AbcModes&) const;

  bool limits() const { return supply_.kind == plant::SupplyKind::bench_supply; }
  bool chopper_acts() const { return chopper_.resistance_ohm > 0.0 && chopper_.by_itself; }

 private:
  bool regulated() const { return limits() && supply_.voltage_loop_Hz > 0.0; }
  bool cable() const { return supply_.cable_inductance_H > 0.0; }
  double set_V(const AbcState&, const AbcInputs&) const;
  double battery_V(const AbcState&) const;
  double resistance_ohm() const;
  plant::SupplyParameters supply_;
  plant::DcLinkParameters link_;
  plant::ChopperParameters chopper_;
};

}  // namespace stillrotor::reference
