// The fast path: one RK4 step in the rotor frame, for sinusoidal back-EMF with all three legs
// conducting. The same equations as flow.hpp, turned by -theta:
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

/// The rates of one stage.
struct Rates {
  Pair i;
  double v, w;
};

}  // namespace

// The processor waits for results here, it does not lack units: what a stage needs of the stage
// before it is kept to a dot product, two sums and two products. Angles of all stages come from the
// speed at the begin, corrected by the acceleration; bus and capacitor are written as sums over
// what is known early and what is not.
template <bool Diodes, bool Sine>
Point Drive::Impl::rotor_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const BusLaw& bus = m.bus[static_cast<std::size_t>(s.supply_mode)];
  const double l_d = par.machine.inductance_d_H, l_q = par.machine.inductance_q_H;
  const Pair inductance = pair(l_d, l_q);
  const Pair inductance_inverse = pair(l_inverse * l_q, l_inverse * l_d);
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double drag = par.shaft.viscous_friction_Nm_s_per_rad;
  const double friction = coulomb_Nm * s.rotation;
  const double bus_per_i = 1.5 * bus.from_legs_ohm;
  const double cap_per_bus = -(bus.per_supply_S + m.shoot_S) * capacitance_inverse;

  const double c0 = s.cos_e, s0 = s.sin_e;
  const Pair i0 = into_rotor(s.i_alpha_A, s.i_beta_A, c0, s0);
  const Pair u0 = into_rotor(m.u_alpha, m.u_beta, c0, s0);
  // Only diodes have a knee, and only beside them do the legs' resistances differ:
  // r = r_mean 1 + [x y; y -x], which turns with twice the angle.
  const Pair e0 = Diodes ? into_rotor(m.e_alpha_V, m.e_beta_V, c0, s0) : both(0.0);
  const double r_mean = 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  const Pair uneven0 = Diodes ? into_rotor(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm,
                                           c0 * c0 - s0 * s0, 2.0 * s0 * c0)
                              : both(0.0);

  const Drivers a = drivers(0.0), c = drivers(h);
  const Drivers b{0.5 * (a.supply_V + c.supply_V), 0.5 * (a.load_Nm + c.load_Nm)};

  const auto rates = [&](Pair i, double v_cap, double w, const Turn& t, double theta,
                         const Drivers& in) __attribute__((always_inline)) {
    const Pair u = seen(u0, t);
    const double fed_V = bus.from_supply * in.supply_V + bus.constant_V;
    const double projected = dot(u, i);
    const double bus_volts = (bus.from_cap * v_cap + fed_V) + bus_per_i * projected;
    const double w_e = p * w;
    const Pair magnet = both(psi) * (Sine ? pair(0.0, 1.0) : shape.on_rotor(theta));
    const Pair linkage = inductance * i;
    Pair rest = both(w_e) * (pair(1.0, -1.0) * swapped(linkage) - magnet) - both(r_mean) * i;
    if constexpr (Diodes) {
      const Pair x = seen(uneven0, twice(t));
      rest += seen(e0, t) - pair(x[0], x[1]) * both(i[0]) - pair(x[1], -x[0]) * both(i[1]);
    }
    Rates k;
    k.i = (u * inductance_inverse) * both(bus_volts) + rest * inductance_inverse;
    k.v = ((bus.per_supply_S * in.supply_V + bus.constant_A) * capacitance_inverse) +
          cap_per_bus * bus_volts - (1.5 * capacitance_inverse) * projected;
    k.w = given_rate + inertia_gain * (1.5 * p * (cross(linkage, i) + dot(magnet, i)) - drag * w -
                                       friction - in.load_Nm);
    return k;
  };

  const double half = 0.5 * h;
  const double w0 = s.omega_m_rad_s, v0 = s.v_cap_V;
  const Turn to_half = turn_by(p * w0 * half), to_end = twice(to_half);
  const double t0 = s.theta_e_rad, t_half = t0 + p * w0 * half, t_end = t0 + p * w0 * h;
  const Rates k1 = rates(i0, v0, w0, {1.0, 0.0}, t0, a);
  const double w1 = w0 + half * k1.w;
  const Rates k2 = rates(i0 + both(half) * k1.i, v0 + half * k1.v, w1, to_half, t_half, b);
  const double w2 = w0 + half * k2.w, extra_3 = p * half * half * k1.w;
  const Rates k3 = rates(i0 + both(half) * k2.i, v0 + half * k2.v, w2,
                         and_a_little(to_half, extra_3), t_half + extra_3, b);
  const double w3 = w0 + h * k3.w, extra_4 = p * h * half * k2.w;
  const Rates k4 = rates(i0 + both(h) * k3.i, v0 + h * k3.v, w3, and_a_little(to_end, extra_4),
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
  const Pair i = i0 + both(w) * (k1.i + both(2.0) * (k2.i + k3.i) + k4.i);
  y.i_alpha = y.cos_e * i[0] - y.sin_e * i[1];
  y.i_beta = y.sin_e * i[0] + y.cos_e * i[1];
  y.v_cap = v0 + w * (k1.v + 2.0 * (k2.v + k3.v) + k4.v);
  y.omega = w0 + w * (k1.w + 2.0 * (k2.w + k3.w) + k4.w);
  y.theta = s.theta_e_rad + (p * w0 * h + extra);
  return y;
}

template Point Drive::Impl::rotor_step<true, true>(double) const noexcept;
template Point Drive::Impl::rotor_step<true, false>(double) const noexcept;
template Point Drive::Impl::rotor_step<false, true>(double) const noexcept;
template Point Drive::Impl::rotor_step<false, false>(double) const noexcept;

}  // namespace stillrotor::plant
