// The fast path while one leg or more is out: the current keeps to one direction d (or to zero), so
// it is a single number x, i = x d, and one RK4 step is in scalars.
//   L_x x' = u_x v_dc + e_x - r_x x - omega_e (x d L' d + psi g . d),   L_x = d . L d,
//   T = 3/2 p x (psi g . d + 1/2 x d L' d),   d L' d = 2 (L_d - L_q) d_d d_q,
// with d on the rotor's axes. The same equations as flow.hpp along d. Two phases fed is where a
// six-step drive spends its time; what of it glide() takes goes by shaped_step.hpp.
// Source: derived; tested against flow.hpp and the closed form of two phases fed.
#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"

namespace stillrotor::plant {
namespace {
struct Rates {
  double x, v, w, legs_A;
};
}  // namespace

template <bool Bare>
Point Drive::Impl::line_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const double psi = s.machine.flux_linkage_Wb;
  const EmfShape& shape = machine.shape();
  const bool cogs = machine.cogging().any();
  const double l_d = machine.star_inductance_d_H(), l_q = machine.star_inductance_q_H();
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double friction = coulomb_Nm * s.rotation;

  const Pair d = pair(m.d_alpha, m.d_beta);  // zero where no current can flow
  const double free = m.freedom == 1 ? 1.0 : 0.0;
  const double u = m.u_alpha * d[0] + m.u_beta * d[1], e = m.e_alpha_V * d[0] + m.e_beta_V * d[1];
  const double r = s.machine.winding_ohm[0] + m.r_aa_ohm * d[0] * d[0] +
                   2.0 * m.r_ab_ohm * d[0] * d[1] + m.r_bb_ohm * d[1] * d[1];
  const double x0 = d[0] * s.i_alpha_A + d[1] * s.i_beta_A;
  const double c0 = s.cos_e, s0 = s.sin_e;
  const Pair d0 = into_rotor(d[0], d[1], c0, s0);

  const Drivers a = drivers(0.0), c = drivers(h);
  const Drivers b{0.5 * (a.supply_V + c.supply_V), 0.5 * (a.load_Nm + c.load_Nm)};

  const auto rates = [&](double x, double v_cap, double w, const Turn& t, double theta,
                         const Drivers& in) __attribute__((always_inline)) {
    const Pair d_r = seen(d0, t);
    const Pair g = Bare ? pair(0.0, 1.0) : shape.on_rotor(theta);
    const double magnet = psi * dot(g, d_r);
    const double slant = 2.0 * (l_d - l_q) * d_r[0] * d_r[1];
    const double l_x = l_d * d_r[0] * d_r[0] + l_q * d_r[1] * d_r[1];
    const double legs = 1.5 * u * x;
    const double bus_volts =
        (bus.from_cap * v_cap + bus.from_supply * in.supply_V + bus.constant_V) +
        bus.from_legs_ohm * legs;
    const double supply = bus.per_supply_S * (in.supply_V - bus_volts) + bus.constant_A;
    double opposing = friction + in.load_Nm;
    if constexpr (!Bare) {
      if (cogs) opposing -= cogging_Nm(theta);
      if (machine.iron().any()) {
        const Pair all = pair(l_d, l_q) * both(x) * d_r + pair(psi, 0.0);
        opposing += machine.iron().drag_Nm(dot(all, all), w);
      }
    }
    Rates k;
    k.legs_A = legs;
    k.x = free == 0.0 ? 0.0 : (u * bus_volts + e - r * x - p * w * (x * slant + magnet)) / l_x;
    k.v = (supply - legs - bus.across_S * bus_volts - bus.across_A) * capacitance_inverse;
    k.w = given_rate +
          inertia_gain * (1.5 * p * x * (magnet + 0.5 * x * slant) - drag_Nm(w) - opposing);
    return k;
  };

  const double half = 0.5 * h;
  const double w0 = s.omega_m_rad_s, v0 = s.v_cap_V;
  const Turn to_half = turn_by(p * w0 * half), to_end = twice(to_half);
  const double t0 = s.theta_e_rad, t_half = t0 + p * w0 * half, t_end = t0 + p * w0 * h;
  const Rates k1 = rates(x0, v0, w0, {1.0, 0.0}, t0, a);
  const Rates k2 = rates(x0 + half * k1.x, v0 + half * k1.v, w0 + half * k1.w, to_half, t_half, b);
  const double extra_3 = p * half * half * k1.w, extra_4 = p * h * half * k2.w;
  const Rates k3 = rates(x0 + half * k2.x, v0 + half * k2.v, w0 + half * k2.w,
                         and_a_little(to_half, extra_3), t_half + extra_3, b);
  const Rates k4 = rates(x0 + h * k3.x, v0 + h * k3.v, w0 + h * k3.w, and_a_little(to_end, extra_4),
                         t_end + extra_4, c);

  const double w = h / 6.0;
  const double extra = w * p * h * (k1.w + k2.w + k3.w);
  const Turn end = and_a_little(to_end, extra);
  Point y;
  y.cos_e = c0 * end.cos - s0 * end.sin;
  y.sin_e = s0 * end.cos + c0 * end.sin;
  const double unit = 1.5 - 0.5 * (y.cos_e * y.cos_e + y.sin_e * y.sin_e);
  y.cos_e *= unit;
  y.sin_e *= unit;
  const double x = x0 + w * (k1.x + 2.0 * (k2.x + k3.x) + k4.x);
  y.i_alpha = d[0] * x;
  y.i_beta = d[1] * x;
  y.legs_C = w * (k1.legs_A + 2.0 * (k2.legs_A + k3.legs_A) + k4.legs_A);
  y.v_cap = v0 + w * (k1.v + 2.0 * (k2.v + k3.v) + k4.v);
  y.omega = w0 + w * (k1.w + 2.0 * (k2.w + k3.w) + k4.w);
  y.theta = s.theta_e_rad + (p * w0 * h + extra);
  return y;
}

template Point Drive::Impl::line_step<true>(double) const noexcept;
template Point Drive::Impl::line_step<false>(double) const noexcept;

}  // namespace stillrotor::plant
