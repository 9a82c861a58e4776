// The plant's differential equations, once, for integration, event search and observation alike.
//   v = u v_dc + e_leg - r_leg i                     (bridge; conduction.hpp)
//   L(theta) di/dt = v - R i - omega_e L'(theta) i - omega_e psi g(theta)
//   L(theta)  = L0 1 + L2 S,  S = [cos 2theta, sin 2theta; sin 2theta, -cos 2theta],
//               L0 = (L_d + L_q)/2, L2 = (L_d - L_q)/2;  inverse = (L0 1 - L2 S) / (L_d L_q)
//   T = 3/2 p (psi g . i + 1/2 i . L' i)
//   C dv_C/dt = i_supply - i_dc;  v_dc = v_C + ESR (i_supply - i_dc)
//   J domega/dt = T - B omega - T_c rotation - T_load
// With one leg out, currents keep to the free direction d: di/dt = d (d . rhs) / (d . L d).
// Source: textbook (salient permanent-magnet machine in the stationary frame), from memory; checked
//   against the same machine written in phase quantities (tests/reference).
#pragma once

#include <algorithm>

#include "plant/drive_impl.hpp"

namespace stillrotor::plant {

[[gnu::always_inline]] inline Drivers Drive::Impl::drivers(double t) const noexcept {
  if (!ramping) return at_rest;
  return {s.supply_V.value + s.supply_V.rate_per_s * t,
          s.load_torque_Nm.value + s.load_torque_Nm.rate_per_s * t +
              slope_Nm(s.slope.value + s.slope.rate_per_s * t)};
}

[[gnu::always_inline]] inline Flow Drive::Impl::flow(const ConductionMode& m, const Point& y,
                                                     const Drivers& in) const noexcept {
  Flow f;
  const double omega_e = p * y.omega;
  const double c2 = y.cos_e * y.cos_e - y.sin_e * y.sin_e, s2 = 2.0 * y.sin_e * y.cos_e;
  const AlphaBeta g = shape(y.theta, y.cos_e, y.sin_e);
  f.emf = {omega_e * psi * g.alpha, omega_e * psi * g.beta};
  // half of L' i
  const double m_alpha = l2 * (-s2 * y.i_alpha + c2 * y.i_beta);
  const double m_beta = l2 * (c2 * y.i_alpha + s2 * y.i_beta);
  f.motion = {2.0 * omega_e * m_alpha, 2.0 * omega_e * m_beta};
  f.torque_Nm =
      1.5 * p *
      (psi * (g.alpha * y.i_alpha + g.beta * y.i_beta) + y.i_alpha * m_alpha + y.i_beta * m_beta);

  f.legs_A = 1.5 * (m.u_alpha * y.i_alpha + m.u_beta * y.i_beta);
  const BusLaw& bus = m.bus[static_cast<std::size_t>(s.supply_mode)];
  f.bus_V = bus.from_cap * y.v_cap + bus.from_legs_ohm * f.legs_A + bus.from_supply * in.supply_V +
            bus.constant_V;
  f.supply_A = bus.per_supply_S * (in.supply_V - f.bus_V) + bus.constant_A;
  f.dv_dt = (f.supply_A - f.legs_A - m.shoot_S * f.bus_V) * capacitance_inverse;

  const double rhs_alpha = m.u_alpha * f.bus_V + m.e_alpha_V - m.r_aa_ohm * y.i_alpha -
                           m.r_ab_ohm * y.i_beta - f.motion.alpha - f.emf.alpha;
  const double rhs_beta = m.u_beta * f.bus_V + m.e_beta_V - m.r_ab_ohm * y.i_alpha -
                          m.r_bb_ohm * y.i_beta - f.motion.beta - f.emf.beta;
  if (m.freedom == 2) {
    f.di_dt.alpha = l_inverse * (l0 * rhs_alpha - l2 * (c2 * rhs_alpha + s2 * rhs_beta));
    f.di_dt.beta = l_inverse * (l0 * rhs_beta - l2 * (s2 * rhs_alpha - c2 * rhs_beta));
  } else if (m.freedom == 1) {
    const double l_d = l0 + l2 * (c2 * (m.d_alpha * m.d_alpha - m.d_beta * m.d_beta) +
                                  2.0 * s2 * m.d_alpha * m.d_beta);
    const double rate = (m.d_alpha * rhs_alpha + m.d_beta * rhs_beta) / l_d;
    f.di_dt = {m.d_alpha * rate, m.d_beta * rate};
  }

  if (s.speed_held)
    f.domega_dt = s.held_speed_rad_s.rate_per_s;
  else if (s.rotation == 0 && coulomb_Nm > 0.0)
    f.domega_dt = 0.0;
  else
    f.domega_dt = (f.torque_Nm - par.shaft.viscous_friction_Nm_s_per_rad * y.omega -
                   coulomb_Nm * s.rotation - in.load_Nm) *
                  inertia_inverse;
  return f;
}

}  // namespace stillrotor::plant
