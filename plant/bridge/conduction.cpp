#include "plant/bridge/conduction.hpp"

#include <algorithm>
#include <cmath>

#include "plant/faults/phase_ground_short.hpp"

namespace stillrotor::plant {

double sharing_A(const BridgeParameters& b) noexcept {
  return b.switch_kind == SwitchKind::mosfet ? b.diode_voltage_V / b.switch_on_resistance_ohm
                                             : 1e300;
}

LegLaw leg_law(Conduction c, const BridgeParameters& b) noexcept {
  const double r = b.switch_on_resistance_ohm, r_diode = b.diode_resistance_ohm;
  const double together = r / (r + r_diode);  // the diode's share where both conduct
  const double share_A = sharing_A(b);
  const bool igbt = b.switch_kind == SwitchKind::igbt;
  switch (c) {
    case Conduction::high_switch:
      if (igbt) return {1.0, -b.switch_knee_V, r, 1.0, 0.0, true};
      return {1.0, 0.0, r, 1.0, -share_A, false};
    case Conduction::low_switch:
      if (igbt) return {0.0, b.switch_knee_V, r, -1.0, 0.0, true};
      return {0.0, 0.0, r, -1.0, -share_A, false};
    case Conduction::low_shared:
      return {0.0, -b.diode_voltage_V * together, r_diode * together, 1.0, share_A, false};
    case Conduction::high_shared:
      return {1.0, b.diode_voltage_V * together, r_diode * together, -1.0, share_A, false};
    case Conduction::low_diode:
      return {0.0, -b.diode_voltage_V, r_diode, 1.0, 0.0, true};
    case Conduction::high_diode:
      return {1.0, b.diode_voltage_V, r_diode, -1.0, 0.0, true};
    case Conduction::swinging_down:
      return {0.5, 0.0, 0.0, 1.0, 0.0, true};
    case Conduction::swinging_up:
      return {0.5, 0.0, 0.0, -1.0, 0.0, true};
    case Conduction::shoot_through:
      return {0.5, 0.0, 0.5 * r, 0.0, 0.0, false, 0.5 / r};
    case Conduction::open_shorted:
      return {0.0, 0.0, 0.0, 0.0, 0.0, false, 0.5 / r};
    case Conduction::floating:
    case Conduction::open:
    default:  // grounded: ground_laws()
      break;
  }
  return {};
}

void ground_laws(LegLaws& laws, const BridgeParameters& bridge, double ground_ohm) noexcept {
  const auto law = [&](Conduction c) -> LegLaw& { return laws[static_cast<std::size_t>(c)]; };
  law(Conduction::grounded) = {0.0, 0.0, ground_ohm, 0.0, 0.0, false, 0.0};
  const auto of = [&](Conduction sound, Conduction grounded) {
    const LegLaw& own = leg_law(sound, bridge);
    law(grounded) = grounded_law(own, ground_ohm);
    law(grounded).across_S = own.across_S + grounded_S(own, ground_ohm);
  };
  of(Conduction::low_switch, Conduction::grounded_low);
  of(Conduction::high_switch, Conduction::grounded_high);
  of(Conduction::shoot_through, Conduction::grounded_shoot_through);
}

ConductionMode sum_legs(const std::array<Conduction, 3>& legs, const LegLaws& all,
                        const ModeSurroundings& around) noexcept {
  ConductionMode m;
  int out = 0, out_leg = 0;
  double r_max = 0.0;
  std::array<LegLaw, 3> laws;
  for (std::size_t k = 0; k < 3; ++k) laws[k] = all[static_cast<std::size_t>(legs[k])];
  for (std::size_t k = 0; k < 3; ++k) {
    const AlphaBeta n = leg_axis[k];
    const LegLaw& law = laws[k];
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
    m.shoot_S += law.across_S;
    if (law.e_V != 0.0) m.legs = std::max(m.legs, LegsDiffer::in_knees);
    if (law.r_ohm != laws[0].r_ohm) m.legs = LegsDiffer::in_ohms;
    m.floating = m.floating || legs[k] == Conduction::floating;
    if (swings(legs[k])) m.swings = static_cast<std::uint8_t>(m.swings | 1U << k);
  }
  m.mean_ohm = 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  m.uneven_ohm = pair(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm);
  m.u_mean = 0.5 * (m.u_alpha * m.u_alpha + m.u_beta * m.u_beta);
  m.u_uneven = pair(0.5 * (m.u_alpha * m.u_alpha - m.u_beta * m.u_beta), m.u_alpha * m.u_beta);
  m.beyond_A.fill(-1e300);
  for (std::size_t k = 0; k < 3; ++k) {
    m.way[k] = laws[k].way;
    if (laws[k].way != 0.0) m.beyond_A[k] = laws[k].beyond_A;
    m.leg_share[k] = laws[k].s;
    m.leg_ohm[k] = laws[k].r_ohm;
    m.leg_V[k] = laws[k].e_V;
  }
  m.freedom = static_cast<std::int8_t>(out == 0 ? 2 : out == 1 ? 1 : 0);
  if (m.freedom == 1) {
    const AlphaBeta n = leg_axis[static_cast<std::size_t>(out_leg)];
    m.d_alpha = -n.beta;
    m.d_beta = n.alpha;
  }
  // A quarter of a time constant costs RK4 (1/4)^5 / 120 of the transient a step.
  const double link_ohm = 1.5 * around.link_ohm * (m.u_alpha * m.u_alpha + m.u_beta * m.u_beta);
  const double tau_phase =
      around.inductance_min_H / (around.winding_resistance_ohm + r_max + link_ohm);
  m.step_max_s = std::min(around.step_max_s, 0.25 * tau_phase);
  return m;
}

void fill_modes(ModeTable& table, const LegLaws& laws, const ModeSurroundings& around) noexcept {
  for (int u = 0; u < sound_kinds; ++u)
    for (int v = 0; v < sound_kinds; ++v)
      for (int w = 0; w < sound_kinds; ++w) {
        const std::array<Conduction, 3> legs{static_cast<Conduction>(u), static_cast<Conduction>(v),
                                             static_cast<Conduction>(w)};
        table[static_cast<std::size_t>(mode_index(legs[0], legs[1], legs[2]))] =
            sum_legs(legs, laws, around);
      }
}

}  // namespace stillrotor::plant
