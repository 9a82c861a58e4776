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
namespace {

/// Currents, capacitor voltage and speed: what the stages integrate.
struct Stage {
  Pair i;
  double v, w;
  double before = 0.0;  // u . i of the stage that it came from
};

}  // namespace

// The processor waits for results here, it does not lack units. So the chain from one stage to the
// next is kept short: each stage yields the next stage's values, not rates, with every factor that
// is known early multiplied out beforehand (one dot product, one product, one sum remain on the
// way); the angles of all stages come from the speed at the begin, corrected by the acceleration;
// and the sum of RK4 is taken over the stages' values: y = (y1 + 2 y2 + y3 - y0) / 3 + h/6 f(y3).
template <bool Unlike, bool Bare>
Point Drive::Impl::rotor_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const double l_d = machine.star_inductance_d_H(), l_q = machine.star_inductance_q_H();
  const Pair inductance = pair(l_d, l_q);
  const Pair inductance_inverse = pair(1.0 / l_d, 1.0 / l_q);
  const double psi = s.machine.flux_linkage_Wb;
  const EmfShape& shape = machine.shape();
  const bool cogs = machine.cogging().any();
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double friction = coulomb_Nm * s.rotation;
  const double bus_per_i = 1.5 * bus.from_legs_ohm;
  const double cap_per_bus = -(bus.per_supply_S + bus.across_S) * capacitance_inverse;

  const double c0 = s.cos_e, s0 = s.sin_e;
  const Pair i0 = into_rotor(s.i_alpha_A, s.i_beta_A, c0, s0);
  const Pair u0 = into_rotor(m.u_alpha, m.u_beta, c0, s0);
  // Knees and unlike legs turn with the frame:
  // r = r_mean 1 + [x y; y -x], which turns with twice the angle.
  const Pair e0 = Unlike ? into_rotor(m.e_alpha_V, m.e_beta_V, c0, s0) : both(0.0);
  const double r_mean = s.machine.winding_ohm[0] + 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  const Pair uneven0 = Unlike ? into_rotor(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm,
                                           c0 * c0 - s0 * s0, 2.0 * s0 * c0)
                              : both(0.0);

  // What supply and load contribute by themselves: linear in their ramps, so the middle is the
  // mean.
  struct Fed {
    double bus_V, cap_V_per_s, opposing_Nm;
  };
  const auto fed = [&](double into_step_s) {
    const Drivers in = drivers(into_step_s);
    const double volts = bus.from_supply * in.supply_V + bus.constant_V;
    return Fed{volts,
               (bus.per_supply_S * in.supply_V + bus.constant_A) * capacitance_inverse +
                   cap_per_bus * volts,
               friction + in.load_Nm};
  };
  const Fed a = fed(0.0), c = ramping ? fed(h) : a;
  const Fed b{0.5 * (a.bus_V + c.bus_V), 0.5 * (a.cap_V_per_s + c.cap_V_per_s),
              0.5 * (a.opposing_Nm + c.opposing_Nm)};

  const double cap_per_cap = cap_per_bus * bus.from_cap;
  const double cap_per_i = cap_per_bus * bus_per_i - 1.5 * capacitance_inverse;
  const Pair crossing_i = pair(l_q, -l_d) * inductance_inverse;

  // base + dt * rates(at)
  const auto next = [&](const Stage& at, const Turn& t, double theta, const Fed& in, double dt,
                        const Stage& base) __attribute__((always_inline)) {
    const Pair u = seen(u0, t);
    const Pair push = both(dt) * inductance_inverse, u_push = u * push;
    const double w_e = p * at.w;
    const Pair magnet = both(psi) * (Bare ? pair(0.0, 1.0) : shape.on_rotor(theta));
    const Pair linkage = inductance * at.i;
    double opposing = in.opposing_Nm;
    if constexpr (!Bare) {
      if (cogs) opposing -= cogging_Nm(theta);
      if (machine.iron().any()) {
        const Pair all = linkage + pair(psi, 0.0);
        opposing += machine.iron().drag_Nm(dot(all, all), at.w);
      }
    }
    const double projected = dot(u, at.i);
    Pair known =
        base.i + u_push * both(in.bus_V + bus.from_cap * at.v) - both(w_e) * (push * magnet);
    if constexpr (Unlike) {
      const Pair x = seen(uneven0, twice(t));
      known += push *
               (seen(e0, t) - pair(x[0], x[1]) * both(at.i[0]) - pair(x[1], -x[0]) * both(at.i[1]));
    }
    Stage y;
    y.before = projected;
    y.i = (known + both(dt * w_e) * crossing_i * swapped(at.i) - both(r_mean) * push * at.i) +
          (u_push * both(bus_per_i)) * both(projected);
    y.v = (base.v + dt * (in.cap_V_per_s + cap_per_cap * at.v)) + (dt * cap_per_i) * projected;
    y.w = base.w +
          dt * (given_rate + inertia_gain * (1.5 * p * (cross(linkage, at.i) + dot(magnet, at.i)) -
                                             drag_Nm(at.w) - opposing));
    return y;
  };

  const double half = 0.5 * h, sixth = h / 6.0;
  const Stage y0{i0, s.v_cap_V, s.omega_m_rad_s};
  const Turn to_half = turn_by(p * y0.w * half), to_end = twice(to_half);
  const double t0 = s.theta_e_rad, t_half = t0 + p * y0.w * half, t_end = t0 + p * y0.w * h;
  const Stage y1 = next(y0, {1.0, 0.0}, t0, a, half, y0);
  const Stage y2 = next(y1, to_half, t_half, b, half, y0);
  const double extra_3 = p * half * (y1.w - y0.w), extra_4 = p * h * (y2.w - y0.w);
  const Stage y3 = next(y2, and_a_little(to_half, extra_3), t_half + extra_3, b, h, y0);
  constexpr double third = 1.0 / 3.0;
  const Stage sum{both(third) * (y1.i + both(2.0) * y2.i + y3.i - i0),
                  third * (y1.v + 2.0 * y2.v + y3.v - y0.v),
                  third * (y1.w + 2.0 * y2.w + y3.w - y0.w)};
  const Stage y4 = next(y3, and_a_little(to_end, extra_4), t_end + extra_4, c, sixth, sum);

  const double extra = p * sixth * (2.0 * (y1.w - y0.w) + 2.0 * (y2.w - y0.w) + (y3.w - y0.w));
  const Turn end = and_a_little(to_end, extra);
  Point y;
  y.cos_e = c0 * end.cos - s0 * end.sin;
  y.sin_e = s0 * end.cos + c0 * end.sin;
  const double unit = 1.5 - 0.5 * (y.cos_e * y.cos_e + y.sin_e * y.sin_e);
  y.cos_e *= unit;
  y.sin_e *= unit;
  y.i_alpha = y.cos_e * y4.i[0] - y.sin_e * y4.i[1];
  y.i_beta = y.sin_e * y4.i[0] + y.cos_e * y4.i[1];
  y.v_cap = y4.v;
  y.omega = y4.w;
  y.theta = t0 + (p * y0.w * h + extra);
  y.legs_C = 1.5 * sixth * (y1.before + 2.0 * (y2.before + y3.before) + y4.before);
  return y;
}

template Point Drive::Impl::rotor_step<true, true>(double) const noexcept;
template Point Drive::Impl::rotor_step<true, false>(double) const noexcept;
template Point Drive::Impl::rotor_step<false, true>(double) const noexcept;
template Point Drive::Impl::rotor_step<false, false>(double) const noexcept;

}  // namespace stillrotor::plant
