// The step of glide(): rotor_step.cpp's for a plain drive in which all legs conduct and no input
// moves, with half its arithmetic. The same classical RK4 of the same equations, but
//  - capacitor voltage and speed go through it as one pair, (v, w): linear in themselves, in u . i
//    and in the torque. Drag is linear about the speed at the begin (what that leaves out is the
//    square of a step's gain in speed, 1e-4 rad/s);
//  - the rotor's angle in the stages is that of the acceleration at the begin. What its change
//    adds, some 1e-9 rad, is in the angle at the end;
//  - a short step, such as a dead time, is of third order (Heun): a sixteenth of the step that the
//    fourth order would be allowed, it errs by (1/64)^4 / 24 of a transient, 2e-9.
// As there, the chain from one stage to the next is kept short: one dot product, one product and
// two sums, with all factors that are known early multiplied out beforehand.
#pragma once

#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"

namespace stillrotor::plant {

/// What a stretch without a step's own events and one end of it ask for.
struct Drive::Impl::Glided {
  Pair i_A;  // alpha, beta
  double v_cap, omega, theta, cos_e, sin_e, torque_Nm;
};

struct Drive::Impl::PhasePairs {
  Pair u_v;
  double w;

  explicit PhasePairs(Pair i_A) noexcept {  // as phases()
    const double a = -0.5 * i_A[0], b = 0.5 * sqrt3 * i_A[1];
    u_v = pair(i_A[0], a + b);
    w = a - b;
  }
  operator Phases() const noexcept { return {u_v[0], u_v[1], w}; }
};

/// What stays the same from step to step while nothing but plain gates change.
struct Drive::Impl::GlideLaw {
  Pair still, own, by;  // d(v, w)/dt = still + own (v, w) + by (u . i, torque over 3/2 p)
  Pair turning, emf;    // di/dt = ... + w (turning (i_q, i_d) - emf)
  double drag_gain;     // d|w|w/dt of drag by speed squared
  double psi_Wb, saliency_H, torque_gain, winding_ohm;
  double source_V;  // of the supply
  double volts;     // at the bridge, of the supply alone
  double stops;     // the rotation that friction ends at zero speed; 0: none
  std::int8_t rotation;
  double shoot_S;
};

inline Drive::Impl::GlideLaw Drive::Impl::glide_law() const noexcept {
  GlideLaw l;
  const bool moves = !s.speed_held && !(s.rotation == 0 && coulomb_Nm > 0.0);
  const double gain = moves ? inertia_inverse : 0.0;
  l.drag_gain = gain * quadratic_Nm_s2;
  l.psi_Wb = s.machine.flux_linkage_Wb;
  l.saliency_H = rotor.saliency_H;
  l.torque_gain = 1.5 * p;
  l.winding_ohm = s.machine.winding_ohm[0];
  l.turning = both(p) * rotor.crossing;
  l.emf = pair(0.0, p * l.psi_Wb) * rotor.inverse;
  l.source_V = at_rest.supply_V;
  l.volts = bus.from_supply * at_rest.supply_V + bus.constant_V;
  l.still =
      pair(bus.cap_per_supply_V * at_rest.supply_V + bus.cap_constant + bus.cap_per_V * l.volts,
           (s.speed_held ? s.held_speed_rad_s.rate_per_s : 0.0) -
               gain * (coulomb_Nm * s.rotation + at_rest.load_Nm));
  l.own = pair(bus.cap_per_cap, -gain * shaft_law.viscous);
  l.by = pair(bus.cap_per_along, gain * (1.5 * p));
  l.stops = rigid && coulomb_Nm > 0.0 && !s.speed_held ? s.rotation : 0.0;
  l.rotation = s.rotation;
  l.shoot_S = mode->shoot_S;
  return l;
}

template <LegsDiffer Legs, bool Short>
[[gnu::always_inline]] inline Drive::Impl::Glided Drive::Impl::glide_step(const GlideLaw& law,
                                                                          const Glided& from,
                                                                          double h) const noexcept {
  constexpr bool knees = Legs != LegsDiffer::no, ohms = Legs == LegsDiffer::in_ohms;
  constexpr double third = 1.0 / 3.0;
  const ConductionMode& m = *mode;
  const double c0 = from.cos_e, s0 = from.sin_e, w0 = from.omega;
  const Pair i0 = into_rotor(from.i_A, c0, s0), vw0 = pair(from.v_cap, w0);

  const double drag = law.drag_gain * std::abs(w0);
  const Pair still = law.still + pair(0.0, drag * w0), own = law.own - pair(0.0, 2.0 * drag);
  const auto torque_Wb_A = [&](Pair i) __attribute__((always_inline)) {
    return (law.psi_Wb + law.saliency_H * i[0]) * i[1];
  };

  // The turns of the second and third evaluation, and of the end.
  const double torque_0 = torque_Wb_A(i0);
  const double w_rate = still[1] + own[1] * w0 + law.by[1] * torque_0;
  const double p_h = p * h, gained = 0.5 * p_h * h * w_rate;  // by the acceleration, at the end
  const Turn first = Short ? tiny_turn(third * (p_h * w0 + third * gained))
                           : turn_by(0.5 * (p_h * w0 + 0.5 * gained));
  const Turn two = twice(first);
  const Turn second = Short ? and_hardly(two, 2.0 / 9.0 * gained) : first;
  const Turn last = Short ? both_turns(first, second) : and_hardly(two, 0.5 * gained);
  const Turn third_turn = Short ? second : last;       // of the last evaluation
  constexpr double in_last = Short ? 5.0 / 9.0 : 1.0;  // of `gained`

  /// The bridge as the turning rotor sees it: u, and u, e and r by the inductances.
  struct View {
    Pair u, u_per_H, e_per_H, r_per_H;
  };
  const Pair u0 = into_rotor(pair(m.u_alpha, m.u_beta), c0, s0);
  const Pair e0 = knees ? into_rotor(pair(m.e_alpha_V, m.e_beta_V), c0, s0) : both(0.0);
  // Unlike legs: [x y; y -x], which turns twice as fast.
  const Pair r0 = ohms ? into_rotor(pair(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm),
                                    c0 * c0 - s0 * s0, 2.0 * s0 * c0)
                       : both(0.0);
  const auto view = [&](Pair u, Pair e, Pair r) __attribute__((always_inline)) {
    return View{u, u * rotor.inverse, knees ? e * rotor.inverse : e, r};
  };
  const auto after = [&](const Turn& t) __attribute__((always_inline)) {
    return view(seen(u0, t), knees ? seen(e0, t) : e0, ohms ? seen(r0, twice(t)) : r0);
  };
  const View at_0 = view(u0, e0, r0), at_1 = after(first), at_2 = after(third_turn);
  const Pair decay = both(law.winding_ohm + m.mean_ohm) * rotor.inverse;

  struct Stage {
    Pair i, vw;
  };
  // base + dt * rates(at); what waits for `along` and `torque` is added last.
  const auto next = [&](const Stage& at, const View& b, double torque, double dt, const Stage& base)
      __attribute__((always_inline)) {
    const double along = dot(b.u, at.i);
    Pair rate = both(at.vw[1]) * (law.turning * swapped(at.i) - law.emf) - decay * at.i +
                b.u_per_H * both(law.volts + bus.from_cap * at.vw[0]);
    if constexpr (knees) rate += b.e_per_H;
    if constexpr (ohms)
      rate -= rotor.inverse * (b.r_per_H * both(at.i[0]) + turning(b.r_per_H) * both(at.i[1]));
    return Stage{
        (base.i + both(dt) * rate) + b.u_per_H * both(dt * bus.per_along_ohm) * both(along),
        (base.vw + both(dt) * (still + own * at.vw)) + (both(dt) * law.by) * pair(along, torque)};
  };
  const Stage y0{i0, vw0};
  Stage end;
  double extra;  // that the speed's change turns the rotor by
  if constexpr (Short) {
    const Stage y1 = next(y0, at_0, torque_0, third * h, y0);
    const Stage y2 = next(y1, at_1, torque_Wb_A(y1.i), 2.0 * third * h, y0);
    const Stage sum{both(0.25) * i0 + both(0.75) * y1.i, both(0.25) * vw0 + both(0.75) * y1.vw};
    end = next(y2, at_2, torque_Wb_A(y2.i), 0.75 * h, sum);
    extra = 0.75 * p_h * (y2.vw[1] - w0);
  } else {
    const double half = 0.5 * h, sixth = h * (1.0 / 6.0);
    const Stage y1 = next(y0, at_0, torque_0, half, y0);
    const Stage y2 = next(y1, at_1, torque_Wb_A(y1.i), half, y0);
    const Stage y3 = next(y2, at_1, torque_Wb_A(y2.i), h, y0);
    const Stage sum{both(third) * ((y1.i + both(2.0) * y2.i - i0) + y3.i),
                    both(third) * ((y1.vw + both(2.0) * y2.vw - vw0) + y3.vw)};
    end = next(y3, at_2, torque_Wb_A(y3.i), sixth, sum);
    extra = p * sixth * ((2.0 * (y1.vw[1] - w0) + 2.0 * (y2.vw[1] - w0)) + (y3.vw[1] - w0));
  }

  const Turn turned = and_hardly(last, extra - in_last * gained);
  // Keeps the carried pair on the unit circle, often enough.
  const double unit = Short ? 1.0 : 1.5 - 0.5 * (c0 * c0 + s0 * s0);
  const double c1 = c0 * unit, s1 = s0 * unit;
  Glided y;
  y.cos_e = c1 * turned.cos - s1 * turned.sin;
  y.sin_e = s1 * turned.cos + c1 * turned.sin;
  y.i_A = both(y.cos_e) * end.i + pair(-y.sin_e, y.sin_e) * swapped(end.i);
  y.v_cap = end.vw[0];
  y.omega = end.vw[1];
  y.theta = from.theta + (p_h * w0 + extra);
  y.torque_Nm = law.torque_gain * torque_Wb_A(end.i);
  return y;
}

}  // namespace stillrotor::plant
