// Fault: a motor cable touches what the negative rail stands on, through a resistance R_g.
// The leg's switch feeds machine and short: v = s v_dc + e - r (i + v / R_g), i into the machine.
// So the leg is one of another law (Thevenin), and the rest of its current crosses the bus:
//   v = rho (s v_dc + e - r i),  rho = R_g / (R_g + r)
//   i_bus = rho s i + (s^2 v_dc + s e) / (R_g + r)
// With both switches off the short alone holds the terminal: v = -R_g i.
// The short lies before the phase's current sensor, which sees the machine's current; the DC link's
// sensor and the driver's trip see the short's too. The cable's inductance is left out.
// Valid  MOSFETs (e = 0), and while their diodes stay out of it: R_g |i| below a diode's knee.
// Source: Thevenin's theorem, textbook; the form derived. RT: safe, O(1).
#pragma once

#include "plant/bridge/conduction.hpp"

namespace stillrotor::plant {

constexpr LegLaw grounded_law(const LegLaw& law, double ground_ohm) noexcept {
  const double rho = ground_ohm / (ground_ohm + law.r_ohm);
  return {rho * law.s, rho * law.e_V, rho * law.r_ohm, 0.0, 0.0, false};
}
/// What the short adds across the bus [S].
constexpr double grounded_S(const LegLaw& law, double ground_ohm) noexcept {
  return law.s * law.s / (ground_ohm + law.r_ohm);
}

}  // namespace stillrotor::plant
