// The fast path while all three legs conduct: one RK4 step in the rotor frame. The same equations
// as flow.hpp, turned by -theta:
//   v = u v_dc + e_leg - r i;   L_d di_d/dt = v_d + omega_e L_q i_q;
//   L_q di_q/dt = v_q - omega_e L_d i_d, each less omega_e psi g(theta);
//   T = 3/2 p (psi g . i + (L_d - L_q) i_d i_q);  sinusoidal back-EMF: g = (0, 1)
// with u, e_leg and the anisotropic part of r turned into the frame of each stage. About half the
// arithmetic of the stationary frame, because inductances and back-EMF stand still.
// Source: textbook (two-axis model of the salient machine), from memory; tested against flow.hpp.
#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"

namespace stillrotor::plant {
// The processor waits for results here, it does not lack units. So the chain from one stage to the
// next is kept short: each stage yields the next stage's values, not rates, with every factor that
// is known early multiplied out beforehand (one dot product, one product, one sum remain on the
// way); the angles of all stages come from the speed at the begin, and what the acceleration adds
// to them (`extra`, of the order of 1e-6 rad: its square is far below rounding of what the step
// knows) only turns what a stage sees; and the sum of RK4 is taken over the stages' values:
// y = (y1 + 2 y2 + y3 - y0) / 3 + h/6 f(y3).
template <LegsDiffer Legs, bool Bare>
Point Drive::Impl::rotor_step(double h) const noexcept {
  /// Currents, capacitor voltage and speed: what the stages integrate.
  struct Stage {
    Pair i;
    double v, w;
    double before = 0.0;  // u . i of the stage that it came from
  };
  constexpr double third = 1.0 / 3.0;
  const ConductionMode& m = *mode;
  const double psi = s.machine.flux_linkage_Wb;
  const EmfShape& shape = machine.shape();
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double friction = coulomb_Nm * s.rotation;
  const double torque_gain = inertia_gain * 1.5 * p;
  const double r_mean = s.machine.winding_ohm[0] + 0.5 * (m.r_aa_ohm + m.r_bb_ohm);

  const double c0 = s.cos_e, s0 = s.sin_e, t0 = s.theta_e_rad;
  const Stage y0{into_rotor(s.i_alpha_A, s.i_beta_A, c0, s0), s.v_cap_V, s.omega_m_rad_s};
  const double p_h = p * h, angle = p_h * y0.w;  // that the rotor turns at the begin's speed
  const Turn to_half = turn_by(0.5 * angle), to_end = twice(to_half);
  BridgeView at_begin{into_rotor(m.u_alpha, m.u_beta, c0, s0), both(0.0), both(0.0)};
  // Knees and unlike legs turn with the frame:
  // r = r_mean 1 + [x y; y -x], which turns with twice the angle.
  constexpr bool knees = Legs != LegsDiffer::no, ohms = Legs == LegsDiffer::in_ohms;
  if constexpr (knees) at_begin.e = into_rotor(m.e_alpha_V, m.e_beta_V, c0, s0);
  if constexpr (ohms)
    at_begin.uneven =
        into_rotor(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm, c0 * c0 - s0 * s0, 2.0 * s0 * c0);
  const auto after = [&](const Turn& t) __attribute__((always_inline)) {
    BridgeView view{seen(at_begin.u, t), both(0.0), both(0.0)};
    if constexpr (knees) view.e = seen(at_begin.e, t);
    if constexpr (ohms) view.uneven = seen(at_begin.uneven, twice(t));
    return view;
  };
  const auto turned_on = [](BridgeView view, double extra) __attribute__((always_inline)) {
    view.u += both(extra) * turning(view.u);
    if constexpr (knees) view.e += both(extra) * turning(view.e);
    if constexpr (ohms) view.uneven += both(2.0 * extra) * turning(view.uneven);
    return view;
  };

  // What supply and load contribute by themselves: linear in their ramps.
  struct Fed {
    double bus_V, cap_V_per_s, opposing_Nm;
  };
  const auto fed = [&](double into_step_s) __attribute__((always_inline)) {
    const Drivers in = drivers(into_step_s);
    const double volts = bus.from_supply * in.supply_V + bus.constant_V;
    return Fed{volts,
               (bus.cap_per_supply_V * in.supply_V + bus.cap_constant) + bus.cap_per_V * volts,
               friction + in.load_Nm};
  };
  const Fed a = fed(0.0), last = ramping ? fed(h) : a;
  const auto between = [&](double x) __attribute__((always_inline)) {
    const auto at = [x](double from, double to) { return from + x * (to - from); };
    return ramping ? Fed{at(a.bus_V, last.bus_V), at(a.cap_V_per_s, last.cap_V_per_s),
                         at(a.opposing_Nm, last.opposing_Nm)}
                   : a;
  };

  // base + dt * rates(at)
  const auto next = [&](const Stage& at, const BridgeView& view, double theta, const Fed& in,
                        double dt, const Stage& base) __attribute__((always_inline)) {
    const Pair push = both(dt) * rotor.inverse, u_push = view.u * push;
    const double turn = dt * p * at.w;
    const Pair magnet = both(psi) * (Bare ? pair(0.0, 1.0) : shape.on_rotor(theta));
    double opposing = drag_Nm(at.w) + in.opposing_Nm;
    double torque_Wb_A = (magnet[1] + rotor.saliency_H * at.i[0]) * at.i[1];
    if constexpr (!Bare) {
      torque_Wb_A += magnet[0] * at.i[0];
      if (machine.cogging().any()) opposing -= cogging_Nm(theta);
      if (machine.iron().any()) {
        const Pair all = rotor.inductance * at.i + pair(psi, 0.0);
        opposing += machine.iron().drag_Nm(dot(all, all), at.w);
      }
    }
    const double projected = dot(view.u, at.i);
    Pair known = base.i + u_push * both(in.bus_V + bus.from_cap * at.v) -
                 both(turn) * (rotor.inverse * magnet);
    if constexpr (knees) known += view.e * push;
    if constexpr (ohms)
      known -= push * (view.uneven * both(at.i[0]) + turning(view.uneven) * both(at.i[1]));
    Stage y;
    y.before = projected;
    y.i = (known + (both(turn) * rotor.crossing * swapped(at.i) - both(r_mean) * push * at.i)) +
          (u_push * both(bus.per_along_ohm)) * both(projected);
    y.v = (base.v + dt * (in.cap_V_per_s + bus.cap_per_cap * at.v)) +
          (dt * bus.cap_per_along) * projected;
    y.w = (base.w + dt * (given_rate - inertia_gain * opposing)) + (dt * torque_gain) * torque_Wb_A;
    return y;
  };

  const BridgeView at_half = after(to_half), at_end = after(to_end);
  const Fed b = between(0.5), c = between(1.0);
  const double half = 0.5 * h, sixth = h * (1.0 / 6.0);
  const Stage y1 = next(y0, at_begin, t0, a, half, y0);
  const Stage y2 = next(y1, at_half, t0 + 0.5 * angle, b, half, y0);
  const double extra_3 = 0.5 * p_h * (y1.w - y0.w), extra_4 = p_h * (y2.w - y0.w);
  const Stage y3 = next(y2, turned_on(at_half, extra_3), t0 + 0.5 * angle + extra_3, b, h, y0);
  const Stage sum{both(third) * ((y1.i + both(2.0) * y2.i - y0.i) + y3.i),
                  third * ((y1.v + 2.0 * y2.v - y0.v) + y3.v),
                  third * ((y1.w + 2.0 * y2.w - y0.w) + y3.w)};
  const Stage y_end = next(y3, turned_on(at_end, extra_4), t0 + angle + extra_4, c, sixth, sum);
  const double extra = p * sixth * ((2.0 * (y1.w - y0.w) + 2.0 * (y2.w - y0.w)) + (y3.w - y0.w));
  const Turn end = and_a_little(to_end, extra);
  const double along = sixth * (y1.before + 2.0 * (y2.before + y3.before) + y_end.before);

  // Keeps the carried pair on the unit circle; of the begin, so that nothing waits for it.
  const double unit = 1.5 - 0.5 * (c0 * c0 + s0 * s0), c1 = c0 * unit, s1 = s0 * unit;
  Point y;
  y.cos_e = c1 * end.cos - s1 * end.sin;
  y.sin_e = s1 * end.cos + c1 * end.sin;
  y.i_alpha = y.cos_e * y_end.i[0] - y.sin_e * y_end.i[1];
  y.i_beta = y.sin_e * y_end.i[0] + y.cos_e * y_end.i[1];
  y.v_cap = y_end.v;
  y.omega = y_end.w;
  y.theta = t0 + (angle + extra);
  y.legs_C = 1.5 * along;
  return y;
}

template <bool Bare>
Point Drive::Impl::rotor_step(double h) const noexcept {
  switch (mode->legs) {
    case LegsDiffer::no:
      return rotor_step<LegsDiffer::no, Bare>(h);
    case LegsDiffer::in_knees:
      return rotor_step<LegsDiffer::in_knees, Bare>(h);
    case LegsDiffer::in_ohms:
      break;
  }
  return rotor_step<LegsDiffer::in_ohms, Bare>(h);
}
template Point Drive::Impl::rotor_step<true>(double) const noexcept;
template Point Drive::Impl::rotor_step<false>(double) const noexcept;

}  // namespace stillrotor::plant
