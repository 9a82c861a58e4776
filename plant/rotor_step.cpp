// The fast path: one RK4 step in the rotor frame, for sinusoidal back-EMF with all three legs
// conducting. The same equations as flow.hpp, turned by -theta:
//   v = u v_dc + e_leg - r i;   L_d di_d/dt = v_d + omega_e L_q i_q;
//   L_q di_q/dt = v_q - omega_e (L_d i_d + psi);   T = 3/2 p (psi + (L_d - L_q) i_d) i_q
// with u, e_leg and the anisotropic part of r turned into the frame of each stage. About half the
// arithmetic of the stationary frame, because inductances and back-EMF stand still.
// Source: textbook (two-axis model of the salient machine), from memory; tested against flow.hpp.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

struct Turn {
  double cos, sin;
};

inline Turn small_turn(double delta) noexcept {
  Turn t;
  rotate(delta, 1.0, 0.0, t.cos, t.sin);
  return t;
}

/// A stationary vector, given in the frame at the step's begin, seen from a frame turned on by t.
inline Dq seen(const Dq& v, const Turn& t) noexcept {
  return {t.cos * v.d + t.sin * v.q, t.cos * v.q - t.sin * v.d};
}

struct Rates {
  double d, q, v, w;
};

}  // namespace

Point Drive::Impl::rotor_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const BusLaw& bus = m.bus[static_cast<std::size_t>(s.supply_mode)];
  const double l_d = par.machine.inductance_d_H, l_q = par.machine.inductance_q_H;
  const double l_d_inverse = l_inverse * l_q, l_q_inverse = l_inverse * l_d;
  const double torque_psi = 1.5 * p * psi, torque_l = 1.5 * p * (l_d - l_q);
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double drag = par.shaft.viscous_friction_Nm_s_per_rad;
  const double friction = coulomb_Nm * s.rotation;

  const double c0 = s.cos_e, s0 = s.sin_e;
  const Dq i0 = park({s.i_alpha_A, s.i_beta_A}, c0, s0);
  const Dq u0 = park({m.u_alpha, m.u_beta}, c0, s0);
  const Dq e0 = park({m.e_alpha_V, m.e_beta_V}, c0, s0);
  const double r_mean = 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  // r = r_mean 1 + [x y; y -x]: turns with twice the angle.
  const Dq aniso0 =
      park({0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm}, c0 * c0 - s0 * s0, 2.0 * s0 * c0);

  const Drivers a = drivers(0.0), c = drivers(h);
  const Drivers b{0.5 * (a.supply_V + c.supply_V), 0.5 * (a.load_Nm + c.load_Nm)};

  const auto rates = [&](double d, double q, double v_cap, double w, const Turn& t,
                         const Drivers& in) __attribute__((always_inline)) {
    const Dq u = seen(u0, t), e = seen(e0, t);
    const Dq aniso = seen(aniso0, {t.cos * t.cos - t.sin * t.sin, 2.0 * t.sin * t.cos});
    const double legs = 1.5 * (u.d * d + u.q * q);
    const double bus_volts =
        (bus.from_cap * v_cap + bus.from_supply * in.supply_V + bus.constant_V) +
        bus.from_legs_ohm * legs;
    const double supply = bus.per_supply_S * (in.supply_V - bus_volts) + bus.constant_A;
    const double w_e = p * w;
    const double psi_d = l_d * d + psi, psi_q = l_q * q;
    Rates k;
    k.d = (u.d * bus_volts + (w_e * psi_q + e.d - r_mean * d - (aniso.d * d + aniso.q * q))) *
          l_d_inverse;
    k.q = (u.q * bus_volts + (e.q - w_e * psi_d - r_mean * q - (aniso.q * d - aniso.d * q))) *
          l_q_inverse;
    k.v = (supply - legs - m.shoot_S * bus_volts) * capacitance_inverse;
    k.w = given_rate +
          inertia_gain * ((torque_psi + torque_l * d) * q - drag * w - friction - in.load_Nm);
    return k;
  };

  const double half = 0.5 * h;
  const double w0 = s.omega_m_rad_s, v0 = s.v_cap_V;
  const Turn none{1.0, 0.0};
  const Rates k1 = rates(i0.d, i0.q, v0, w0, none, a);
  const double w1 = w0 + half * k1.w;
  const Rates k2 = rates(i0.d + half * k1.d, i0.q + half * k1.q, v0 + half * k1.v, w1,
                         small_turn(p * w0 * half), b);
  const double w2 = w0 + half * k2.w;
  const Rates k3 = rates(i0.d + half * k2.d, i0.q + half * k2.q, v0 + half * k2.v, w2,
                         small_turn(p * w1 * half), b);
  const double w3 = w0 + h * k3.w;
  const Rates k4 =
      rates(i0.d + h * k3.d, i0.q + h * k3.q, v0 + h * k3.v, w3, small_turn(p * w2 * h), c);

  const double w = h / 6.0;
  const double turn = w * p * (w0 + 2.0 * (w1 + w2) + w3);
  Point y;
  rotate(turn, c0, s0, y.cos_e, y.sin_e);
  const double unit = 1.5 - 0.5 * (y.cos_e * y.cos_e + y.sin_e * y.sin_e);
  y.cos_e *= unit;
  y.sin_e *= unit;
  const AlphaBeta i = unpark({i0.d + w * (k1.d + 2.0 * (k2.d + k3.d) + k4.d),
                              i0.q + w * (k1.q + 2.0 * (k2.q + k3.q) + k4.q)},
                             y.cos_e, y.sin_e);
  y.i_alpha = i.alpha;
  y.i_beta = i.beta;
  y.v_cap = v0 + w * (k1.v + 2.0 * (k2.v + k3.v) + k4.v);
  y.omega = w0 + w * (k1.w + 2.0 * (k2.w + k3.w) + k4.w);
  y.theta = s.theta_e_rad + turn;
  return y;
}

}  // namespace stillrotor::plant
