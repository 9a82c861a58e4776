#include "plant/bridge/conduction.hpp"

#include <algorithm>

namespace stillrotor::plant {

LegLaw leg_law(Conduction c, const BridgeParameters& b) noexcept {
  switch (c) {
    case Conduction::high_switch:
      return {1.0, 0.0, b.switch_on_resistance_ohm};
    case Conduction::low_switch:
      return {0.0, 0.0, b.switch_on_resistance_ohm};
    case Conduction::low_diode:
      return {0.0, -b.diode_voltage_V, b.diode_resistance_ohm};
    case Conduction::high_diode:
      return {1.0, b.diode_voltage_V, b.diode_resistance_ohm};
    case Conduction::shoot_through:
      return {0.5, 0.0, 0.5 * b.switch_on_resistance_ohm};
    case Conduction::floating:
    case Conduction::open:
    case Conduction::open_shorted:
      break;
  }
  return {};
}

namespace {

ConductionMode sum_legs(const std::array<Conduction, 3>& legs, const BridgeParameters& bridge,
                        const ModeSurroundings& around) noexcept {
  ConductionMode m;
  int out = 0, out_leg = 0;
  double r_max = 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    const AlphaBeta n = leg_axis[k];
    const LegLaw law = leg_law(legs[k], bridge);
    if (!conducts(legs[k])) {
      ++out;
      out_leg = static_cast<int>(k);
    }
    m.u_alpha += 2.0 / 3.0 * law.s * n.alpha;
    m.u_beta += 2.0 / 3.0 * law.s * n.beta;
    m.e_alpha_V += 2.0 / 3.0 * law.e_V * n.alpha;
    m.e_beta_V += 2.0 / 3.0 * law.e_V * n.beta;
    m.r_aa_ohm += 2.0 / 3.0 * law.r_ohm * n.alpha * n.alpha;
    m.r_ab_ohm += 2.0 / 3.0 * law.r_ohm * n.alpha * n.beta;
    m.r_bb_ohm += 2.0 / 3.0 * law.r_ohm * n.beta * n.beta;
    r_max = std::max(r_max, law.r_ohm);
    if (shorts_the_bus(legs[k])) m.shoot_S += 0.5 / bridge.switch_on_resistance_ohm;
    m.diodes = m.diodes || is_diode(legs[k]) || shorts_the_bus(legs[k]);
    m.floating = m.floating || legs[k] == Conduction::floating;
    if (is_diode(legs[k])) {
      const double way = diode_direction(legs[k]);
      m.diode_axis[static_cast<std::size_t>(m.diode_count++)] = {way * n.alpha, way * n.beta};
    }
  }
  m.freedom = static_cast<std::int8_t>(out == 0 ? 2 : out == 1 ? 1 : 0);
  if (m.freedom == 1) {
    const AlphaBeta n = leg_axis[static_cast<std::size_t>(out_leg)];
    m.d_alpha = -n.beta;
    m.d_beta = n.alpha;
  }
  // A quarter of a time constant costs RK4 (1/4)^5 / 120 of the transient a step.
  const double tau_phase = around.inductance_min_H / (around.winding_resistance_ohm + r_max);
  m.step_max_s = std::min(around.step_max_s, 0.25 * tau_phase);
  return m;
}

}  // namespace

void fill_modes(ModeTable& table, const BridgeParameters& bridge,
                const ModeSurroundings& around) noexcept {
  for (int u = 0; u < conduction_kinds; ++u)
    for (int v = 0; v < conduction_kinds; ++v)
      for (int w = 0; w < conduction_kinds; ++w) {
        const std::array<Conduction, 3> legs{static_cast<Conduction>(u), static_cast<Conduction>(v),
                                             static_cast<Conduction>(w)};
        table[static_cast<std::size_t>(mode_index(legs[0], legs[1], legs[2]))] =
            sum_legs(legs, bridge, around);
      }
}

}  // namespace stillrotor::plant
