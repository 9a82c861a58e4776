// The DC bus as one linear law, for the present state of supply, cable, chopper and bridge:
//   v_dc = from_cap v_C + from_legs_ohm i_legs + from_supply v_supply + from_cable_ohm i_cable
//          + constant_V            (v_dc = v_C + ESR (i_supply - i_legs - i_across))
//   i_across = across_S v_dc + across_A
//   i_supply = per_supply_S (v_supply - v_dc) + constant_A + cable_share i_cable
// Computed anew when one of them changes, which is rare; used in every stage of every step.
// v_supply is the source's voltage: a battery's inner one, a bench supply's set one or, where its
// loops have a speed, the integrator's.
// RT: safe. O(1).
#pragma once

#include <algorithm>
#include <cmath>

#include "plant/frames.hpp"
#include "plant/supply/supply.hpp"

namespace stillrotor::plant {

struct BusLaw {
  double from_cap = 1.0, from_legs_ohm = 0.0, from_supply = 0.0, from_cable_ohm = 0.0,
         constant_V = 0.0;
  double per_supply_S = 0.0, constant_A = 0.0, cable_share = 0.0;
  double across_S = 0.0;    // shorted legs and chopper, and those diodes
  double step_max_s = 1.0;  // what its fastest time constant allows
  double across_A = 0.0;    // of diodes that hold an emptied link

  // Multiplied out for the fast steps, with i_legs = 1.5 along:
  //   v_dc = ... + per_along_ohm along
  //   dv_C/dt = cap_per_V (v_dc - what v_C and along give) + cap_per_cap v_C + cap_per_along along
  //             + cap_per_supply_V v_supply + cap_constant
  double per_along_ohm = 0.0, cap_per_V = 0.0, cap_per_cap = 0.0, cap_per_along = 0.0,
         cap_per_supply_V = 0.0, cap_constant = 0.0;
};

/// What a bench supply's loops add: their gains, and how its limit falls with the output.
struct SupplyLaw {
  bool regulated = false;               // loops of finite speed
  double voltage_gain_per_s = 0.0;      // w_v
  double current_gain_V_per_A_s = 0.0;  // k
  double fold_back_S = 0.0;             // slope of the limit

  explicit SupplyLaw(const SupplyParameters& p) noexcept {
    if (p.kind != SupplyKind::bench_supply) return;
    if (p.fold_back_A >= 0.0 && p.voltage_V > 0.0)
      fold_back_S = (p.current_limit_A - p.fold_back_A) / p.voltage_V;
    regulated = p.voltage_loop_Hz > 0.0;
    if (!regulated) return;
    voltage_gain_per_s = two_pi * p.voltage_loop_Hz;
    current_gain_V_per_A_s = two_pi * p.current_loop_Hz * p.voltage_V / p.current_limit_A;
  }
};

/// source_ohm: all resistance between the source and the link at present.
inline BusLaw bus_law(const SupplyParameters& supply, const SupplyLaw& law,
                      const DcLinkParameters& link, SupplyMode mode, double source_ohm,
                      double across_S, double across_A, bool bridge_shorts) noexcept {
  const double esr = link.series_resistance_ohm, g = 1.0 / source_ohm;
  const double loose = 1.0 / (1.0 + esr * across_S);
  const bool feeds =
      mode == SupplyMode::voltage || (mode == SupplyMode::current_limit && law.regulated);
  BusLaw b;
  b.across_S = across_S;
  double parallel_S = across_S;
  if (feeds && supply.cable_inductance_H <= 0.0) {
    const double held = 1.0 / (1.0 + esr * (across_S + g));
    b = {held, -esr * held, esr * g * held, 0.0, 0.0, g, 0.0, 0.0, across_S, 1.0};
    parallel_S += g;
  } else if (feeds) {
    b = {loose, -esr * loose, 0.0, esr * loose, 0.0, 0.0, 0.0, 1.0, across_S, 1.0};
  } else if (mode == SupplyMode::current_limit) {
    // i = limit - slope (v_supply - v_dc)
    const double slope = law.fold_back_S, limit_A = supply.current_limit_A;
    const double held = 1.0 / (1.0 + esr * (across_S - slope));
    b = {
        held,     -esr * held, -esr * slope * held, 0.0, esr * limit_A * held, -slope, limit_A, 0.0,
        across_S, 1.0};
    parallel_S += slope;
  } else {
    b = {loose, -esr * loose, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, across_S, 1.0};
  }
  // A quarter of a time constant costs RK4 (1/4)^5 / 120 of the transient a step. A link that
  // settles between two gate edges runs through whole transients: an eighth there. A shorted bus
  // loses its whole voltage in one transient: a sixteenth, below 1e-6 of the bus in all.
  constexpr double settles_between_edges_s = 20e-6;
  if (parallel_S > 0.0) {
    const double tau_s = link.capacitance_F * (esr + 1.0 / parallel_S);
    const double share = bridge_shorts                     ? 1.0 / 16.0
                         : tau_s < settles_between_edges_s ? 0.125
                                                           : 0.25;
    b.step_max_s = share * tau_s;
  }
  if (b.cable_share > 0.0)
    b.step_max_s = std::min({b.step_max_s, 0.125 * supply.cable_inductance_H / (source_ohm + esr),
                             0.1 * std::sqrt(supply.cable_inductance_H * link.capacitance_F)});
  // A source that feeds nothing still follows its voltage loop.
  if (law.regulated) b.step_max_s = std::min(b.step_max_s, 0.2 / law.voltage_gain_per_s);
  if (law.regulated && feeds) {
    // The voltage loop with the link: w_v and, through a cable, sqrt(R w_v / L); the current loop:
    // k / R or sqrt(k / L).
    const double gain = mode == SupplyMode::voltage ? law.voltage_gain_per_s * source_ohm
                                                    : law.current_gain_V_per_A_s;
    const double fastest = b.cable_share > 0.0 ? std::sqrt(gain / supply.cable_inductance_H)
                                               : gain / (source_ohm + esr);
    b.step_max_s = std::min(b.step_max_s, 0.2 / fastest);
  }
  b.across_A = across_A;
  b.constant_V -= esr * across_A * b.from_cap;
  const double per_C = 1.0 / link.capacitance_F;
  b.per_along_ohm = 1.5 * b.from_legs_ohm;
  b.cap_per_V = -(b.per_supply_S + b.across_S) * per_C;
  b.cap_per_cap = b.cap_per_V * b.from_cap;
  b.cap_per_along = b.cap_per_V * b.per_along_ohm - 1.5 * per_C;
  b.cap_per_supply_V = b.per_supply_S * per_C;
  b.cap_constant = (b.constant_A - across_A) * per_C;
  return b;
}

}  // namespace stillrotor::plant
