// What a change of gates costs beside conduction: switching energies, and what stands in the output
// capacitances when a switch turns on against it. Taken from the link's capacitor, booked as heat.
//   switching  E = E_ref (v / v_ref)(|i| / i_ref), v what the switch sees
//   capacitive a terminal forced by dv draws the charge C_oss dv from the bus and burns
//              2 C_oss dv^2 / 2
// Source: charge balance of the two capacitances, derived; proportional scaling: common practice.
#include "plant/flow.hpp"

namespace stillrotor::plant {

Drive::Impl::Terminals Drive::Impl::terminals_now() const noexcept {
  const Point y = point();
  const Flow f = flow(*mode, y, drivers(0.0));
  const Phases v = terminals(legs(), y, f);
  Terminals out{f.bus_V, {v.U, v.V, v.W}};
  for (std::size_t k = 0; k < 3; ++k)
    if (swings(s.leg[k])) out.terminal_V[k] = swing_terminal_V(k, y, f.bus_V);
  return out;
}

// Out of the link's capacitor, as far as it has it; returns what was taken.
double Drive::Impl::draw_from_link(double energy_J) noexcept {
  const double capacitance_F = par.dc_link.capacitance_F;
  const double before = s.v_cap_V * s.v_cap_V;
  const double after = std::max(0.0, before - 2.0 * energy_J * capacitance_inverse);
  if (s.v_cap_V <= 0.0 || energy_J <= 0.0) return 0.0;
  s.v_cap_V = std::sqrt(after);
  const double drawn_J = 0.5 * capacitance_F * (before - after);
  s.drawn_J += drawn_J;
  return drawn_J;
}

void Drive::Impl::burn(std::size_t k, double energy_J) noexcept {
  s.switching_J[k] += energy_J;
  if (ledger) s.dissipated_J += energy_J;
}

// Energy that appears or goes here without a way of its own (the bus moved while the leg was
// clamped, a leg without current went where the windings have it) counts as heat, so that the books
// close.
void Drive::Impl::set_swing(std::size_t k, double swing_V) noexcept {
  double& w = s.extra.leg_swing_V[k];
  burn(k, par.bridge.output_capacitance_F * (w * w - swing_V * swing_V));
  w = swing_V;
}

void Drive::Impl::pay_for_switching(const Terminals& before, unsigned gates_before,
                                    const std::array<Conduction, 3>& leg_before) noexcept {
  const BridgeParameters& b = par.bridge;
  const SwitchingEnergies& e = b.switching;
  const Point y = point();
  for (std::size_t k = 0; k < 3; ++k) {
    const unsigned was = (gates_before >> (2 * k)) & 3U, is = gates_of(k);
    if (was == is) continue;
    const double current = leg_current(k, y), bus_V = before.bus_V;
    const double scale = std::abs(current) / (e.at_V * e.at_A);
    double energy_J = 0.0;
    if (is == 3U || was == 3U) {  // a short across the bus burns enough by itself
      if (is == 3U && b.output_capacitance_F > 0.0) set_swing(k, 0.0);
      continue;
    }
    const bool high_went = (was & 1U) != 0U, low_went = (was & 2U) != 0U;
    if ((high_went && current > 0.0) || (low_went && current < 0.0))
      energy_J += e.off_J * bus_V * scale;
    if (is != 0U) {
      const bool high = is == 1U;
      const double across_V = high ? bus_V - before.terminal_V[k] : before.terminal_V[k];
      if (across_V > 0.0 && (high ? current > 0.0 : current < 0.0)) {
        const bool from_diode = high ? on_low_side(leg_before[k]) : on_high_side(leg_before[k]);
        energy_J += (e.on_J + (from_diode ? e.recovery_J : 0.0)) * across_V * scale;
      }
      if (b.output_capacitance_F > 0.0) {
        if (across_V > 0.0) burn(k, draw_from_link(b.output_capacitance_F * across_V * bus_V));
        set_swing(k, high ? 0.5 * bus_V : -0.5 * bus_V);
      }
    }
    if (energy_J > 0.0) burn(k, draw_from_link(energy_J));
  }
}

}  // namespace stillrotor::plant
