// The step of glide(): rotor_step.cpp's for a plain drive in which all legs conduct and no input
// moves, with half its arithmetic. The same classical RK4 of the same equations, but
//  - capacitor voltage and speed go through it as one pair, (v, w): linear in themselves, in u . i
//    and in the torque. Drag is linear about the speed at the begin (what that leaves out is the
//    square of a step's gain in speed, 1e-4 rad/s);
//  - the rotor's angle in the stages is that of the acceleration at the begin. What its change
//  adds,
//    some 1e-9 rad, is in the angle at the end.
// As there, the chain from one stage to the next is kept short: one dot product, one product and
// two sums, with all factors that are known early multiplied out beforehand.
#pragma once

#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"

namespace stillrotor::plant {

template <LegsDiffer Legs>
[[gnu::always_inline]] inline Drive::Impl::Glided Drive::Impl::glide_step(double h) const noexcept {
  constexpr bool knees = Legs != LegsDiffer::no, ohms = Legs == LegsDiffer::in_ohms;
  constexpr double third = 1.0 / 3.0;
  const ConductionMode& m = *mode;
  const double psi = s.machine.flux_linkage_Wb, saliency = rotor.saliency_H;
  const double c0 = s.cos_e, s0 = s.sin_e, w0 = s.omega_m_rad_s;
  const Pair i0 = into_rotor(s.i_alpha_A, s.i_beta_A, c0, s0), vw0 = pair(s.v_cap_V, w0);

  // d(v, w)/dt = still + own (v, w) + by (u . i, torque over 3/2 p)
  const bool moves = !s.speed_held && !(s.rotation == 0 && coulomb_Nm > 0.0);
  const double gain = moves ? inertia_inverse : 0.0;
  const double quadratic = quadratic_Nm_s2 * std::abs(w0);
  const double opposing = coulomb_Nm * s.rotation + at_rest.load_Nm - quadratic * w0;
  const double given = s.speed_held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double volts = bus.from_supply * at_rest.supply_V + bus.constant_V;
  const Pair still =
      pair(bus.cap_per_supply_V * at_rest.supply_V + bus.cap_constant + bus.cap_per_V * volts,
           given - gain * opposing);
  const Pair own = pair(bus.cap_per_cap, -gain * (shaft_law.viscous + 2.0 * quadratic));
  const Pair by = pair(bus.cap_per_along, gain * (1.5 * p));
  const auto torque_Wb_A = [&](Pair i) __attribute__((always_inline)) {
    return (psi + saliency * i[0]) * i[1];
  };
  const auto rates = [&](Pair vw, double along, double torque) __attribute__((always_inline)) {
    return still + own * vw + by * pair(along, torque);
  };

  // What the bridge applies, divided by the inductances, as the turning rotor sees it.
  const double torque_0 = torque_Wb_A(i0);
  const double w_rate = still[1] + own[1] * w0 + by[1] * torque_0;
  const double half = 0.5 * h, p_h = p * h, gained = 0.25 * p_h * h * w_rate;
  const Turn to_half = turn_by(0.5 * (p_h * w0 + gained)), doubled = twice(to_half);
  const Turn to_end{doubled.cos - doubled.sin * gained, doubled.sin + doubled.cos * gained};
  const Pair u0 = into_rotor(m.u_alpha, m.u_beta, c0, s0);
  const Pair u1 = seen(u0, to_half), u2 = seen(u0, to_end);
  Pair e0 = both(0.0), e1 = e0, e2 = e0;
  if constexpr (knees) {
    e0 = into_rotor(m.e_alpha_V, m.e_beta_V, c0, s0);
    e1 = seen(e0, to_half);
    e2 = seen(e0, to_end);
  }
  Pair r0 = both(0.0), r1 = r0, r2 = r0;  // unlike legs: [x y; y -x], which turns twice as fast
  if constexpr (ohms) {
    r0 = into_rotor(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm, c0 * c0 - s0 * s0, 2.0 * s0 * c0);
    r1 = seen(r0, twice(to_half));
    r2 = seen(r0, twice(to_end));
  }
  const double r_mean = s.machine.winding_ohm[0] + 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  const Pair decay = both(r_mean) * rotor.inverse, emf = pair(0.0, psi) * rotor.inverse;

  struct Stage {
    Pair i, vw;
  };
  const auto next = [&](const Stage& at, Pair u, Pair e, Pair r, double torque, double dt,
                        const Stage& base) __attribute__((always_inline)) {
    const Pair push = both(dt) * rotor.inverse, u_push = u * push;
    const Pair turn = both(dt * p * at.vw[1]);
    const double along = dot(u, at.i);
    Pair known = base.i + u_push * both(volts + bus.from_cap * at.vw[0]) - turn * emf;
    if constexpr (knees) known += e * push;
    if constexpr (ohms) known -= push * (r * both(at.i[0]) + turning(r) * both(at.i[1]));
    Stage y;
    y.i = (known + ((turn * rotor.crossing) * swapped(at.i) - (both(dt) * decay) * at.i)) +
          (u_push * both(bus.per_along_ohm)) * both(along);
    y.vw = base.vw + both(dt) * rates(at.vw, along, torque);
    return y;
  };
  const double sixth = h * (1.0 / 6.0);
  const Stage y0{i0, vw0};
  const Stage y1 = next(y0, u0, e0, r0, torque_0, half, y0);
  const Stage y2 = next(y1, u1, e1, r1, torque_Wb_A(y1.i), half, y0);
  const Stage y3 = next(y2, u1, e1, r1, torque_Wb_A(y2.i), h, y0);
  const Stage sum{both(third) * ((y1.i + both(2.0) * y2.i - i0) + y3.i),
                  both(third) * ((y1.vw + both(2.0) * y2.vw - vw0) + y3.vw)};
  const Stage end = next(y3, u2, e2, r2, torque_Wb_A(y3.i), sixth, sum);

  const double extra =
      p * sixth * ((2.0 * (y1.vw[1] - w0) + 2.0 * (y2.vw[1] - w0)) + (y3.vw[1] - w0));
  const double rest = extra - 2.0 * gained;  // that to_end lacks
  const double unit = 1.5 - 0.5 * (c0 * c0 + s0 * s0), c1 = c0 * unit, s1 = s0 * unit;
  const double turned_cos = to_end.cos - to_end.sin * rest,
               turned_sin = to_end.sin + to_end.cos * rest;
  Glided y;
  y.cos_e = c1 * turned_cos - s1 * turned_sin;
  y.sin_e = s1 * turned_cos + c1 * turned_sin;
  y.i_alpha = y.cos_e * end.i[0] - y.sin_e * end.i[1];
  y.i_beta = y.sin_e * end.i[0] + y.cos_e * end.i[1];
  y.v_cap = end.vw[0];
  y.omega = end.vw[1];
  y.theta = s.theta_e_rad + (p_h * w0 + extra);
  y.torque_Nm = 1.5 * p * torque_Wb_A(end.i);
  return y;
}

}  // namespace stillrotor::plant
