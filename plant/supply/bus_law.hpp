// The DC bus as one linear law, for the present state of supply, cable, chopper and bridge:
//   v_dc = from_cap v_C + from_legs_ohm i_legs + from_supply v_supply + from_cable_ohm i_cable
//          + constant_V                          (v_dc = v_C + ESR (i_supply - i_legs - across
//          v_dc))
//   i_supply = per_supply_S (v_supply - v_dc) + constant_A + cable_share i_cable
// Computed anew when one of them changes, which is rare; used in every stage of every step.
// RT: safe. O(1).
#pragma once

#include <algorithm>
#include <cmath>

#include "plant/supply/supply.hpp"

namespace stillrotor::plant {

struct BusLaw {
  double from_cap = 1.0, from_legs_ohm = 0.0, from_supply = 0.0, from_cable_ohm = 0.0,
         constant_V = 0.0;
  double per_supply_S = 0.0, constant_A = 0.0, cable_share = 0.0;
  double across_S = 0.0;    // shorted legs and chopper
  double step_max_s = 1.0;  // what its fastest time constant allows
};

/// source_ohm: all resistance between the source and the link at present.
inline BusLaw bus_law(const SupplyParameters& supply, const DcLinkParameters& link, SupplyMode mode,
                      double source_ohm, double across_S, bool bridge_shorts) noexcept {
  const double esr = link.series_resistance_ohm, g = 1.0 / source_ohm;
  const double loose = 1.0 / (1.0 + esr * across_S);
  BusLaw b;
  b.across_S = across_S;
  double parallel_S = across_S;
  if (mode == SupplyMode::voltage && supply.cable_inductance_H <= 0.0) {
    const double held = 1.0 / (1.0 + esr * (across_S + g));
    b = {held, -esr * held, esr * g * held, 0.0, 0.0, g, 0.0, 0.0, across_S, 1.0};
    parallel_S += g;
  } else if (mode == SupplyMode::voltage) {
    b = {loose, -esr * loose, 0.0, esr * loose, 0.0, 0.0, 0.0, 1.0, across_S, 1.0};
  } else {
    const double limit_A = mode == SupplyMode::current_limit ? supply.current_limit_A : 0.0;
    b = {loose, -esr * loose, 0.0, 0.0, esr * limit_A * loose, 0.0, limit_A, 0.0, across_S, 1.0};
  }
  // A quarter of a time constant costs RK4 (1/4)^5 / 120 of the transient a step. A shorted bus
  // loses its whole voltage in one transient, so there a sixteenth: below 1e-6 of the bus in all.
  if (parallel_S > 0.0) {
    const double tau_s = link.capacitance_F * (esr + 1.0 / parallel_S);
    b.step_max_s = (bridge_shorts ? 1.0 / 16.0 : 0.25) * tau_s;
  }
  if (b.cable_share > 0.0)
    b.step_max_s = std::min({b.step_max_s, 0.25 * supply.cable_inductance_H / (source_ohm + esr),
                             0.2 * std::sqrt(supply.cable_inductance_H * link.capacitance_F)});
  return b;
}

}  // namespace stillrotor::plant
