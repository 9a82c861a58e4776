// The fast path of a star computed winding by winding, while all three legs conduct: one step on
// (alpha, beta), where windings that differ stand still.
//   L di/dt = u v_dc + e_leg - (R + r_legs) i - omega_e (dL/dtheta i + psi m);   L, m over theta
//   T = 3/2 p i . (1/2 dL/dtheta i + psi m)
// The same equations as machine/phase_magnet.hpp and flow.hpp.
// Source: derived in machine/phase_magnet.hpp; tested against flow.hpp.
#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"
#include "plant/stage_rates.hpp"

namespace stillrotor::plant {
namespace {

/// What the machine is at an angle: columns of the inverse of L and of its slope, psi m.
struct AtAngle {
  double theta, cos, sin;
  Pair inverse_a, inverse_b, slope_a, slope_b, magnet_Wb;
};

}  // namespace

// The processor waits for results here, so no stage waits for what its angle gives (a division
// among it): the stages' angles follow from speed and acceleration at the begin. They err by the
// third power of the step times the change of acceleration, 1e-8 rad; the step's own angle is of
// the method's order.
template <Drive::Impl::Order How>
Point Drive::Impl::phase_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const PhaseMagnet& windings = machine.windings();
  const PhaseMagnet::StarOhms star = PhaseMagnet::star_ohms(s.machine.winding_ohm);
  const double psi = s.machine.flux_linkage_Wb;
  const bool cogs = machine.cogging().any(), iron = machine.iron().any();
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double friction = coulomb_Nm * s.rotation;
  const Pair u = loaded(&m.u_alpha), e = loaded(&m.e_alpha_V);
  const Pair ohm_a = pair(star.aa + m.r_aa_ohm, star.ab + m.r_ab_ohm),
             ohm_b = pair(star.ab + m.r_ab_ohm, star.bb + m.r_bb_ohm);
  const Drivers a = drivers(0.0), c = ramping ? drivers(h) : a;
  const auto between = [&](double x) {
    return Drivers{a.supply_V + x * (c.supply_V - a.supply_V),
                   a.load_Nm + x * (c.load_Nm - a.load_Nm)};
  };

  const auto at_angle = [&](double theta, double cosine, double sine)
      __attribute__((always_inline)) {
    const PhaseMagnet::StarAtAngle at = windings.star(theta, cosine, sine);
    const double inverse = 1.0 / (at.l_aa * at.l_bb - at.l_ab * at.l_ab);
    const double across = -inverse * at.l_ab;
    return AtAngle{theta,
                   cosine,
                   sine,
                   pair(inverse * at.l_bb, across),
                   pair(across, inverse * at.l_aa),
                   pair(at.slope_aa, at.slope_ab),
                   pair(at.slope_ab, at.slope_bb),
                   both(psi) * pair(at.magnet_a, at.magnet_b)};
  };
  const auto rates = [&](Pair i, double v_cap, double w, const AtAngle& at, const Drivers& in)
      __attribute__((always_inline)) {
    const double w_e = p * w, legs = 1.5 * dot(u, i);
    const double known_V = bus.from_cap * v_cap + bus.from_supply * in.supply_V + bus.constant_V;
    const double bus_volts = known_V + bus.from_legs_ohm * legs;
    const Pair turned = at.slope_a * both(i[0]) + at.slope_b * both(i[1]);
    const Pair push = ((e - both(w_e) * at.magnet_Wb) + u * both(bus_volts)) -
                      ((ohm_a * both(i[0]) + ohm_b * both(i[1])) + both(w_e) * turned);
    double opposing = drag_Nm(w) + friction + in.load_Nm;
    if (cogs) opposing -= cogging_Nm(at.theta);
    if (iron) {
      const Pair all = rotor.inductance * into_rotor(i, at.cos, at.sin) + pair(psi, 0.0);
      opposing += machine.iron().drag_Nm(dot(all, all), w);
    }
    const double torque = dot(i, both(0.5) * turned + at.magnet_Wb);
    const double supply = bus.per_supply_S * (in.supply_V - bus_volts) + bus.constant_A;
    StageRates k;
    k.legs_A = legs;
    k.i = at.inverse_a * both(push[0]) + at.inverse_b * both(push[1]);
    k.v = (supply - legs - bus.across_S * bus_volts - bus.across_A) * capacitance_inverse;
    k.w = given_rate + inertia_gain * (1.5 * p * torque - opposing);
    return k;
  };

  const double c0 = s.cos_e, s0 = s.sin_e, t0 = s.theta_e_rad;
  const double w0 = s.omega_m_rad_s, v0 = s.v_cap_V;
  const Pair i0 = pair(s.i_alpha_A, s.i_beta_A);
  const double to_1 = How == Order::third ? h / 3.0 : 0.5 * h, to_2 = 2.0 * to_1;
  const Turn turn_1 = turn_by(p * w0 * to_1), turn_2 = twice(turn_1);
  const StageRates k1 = rates(i0, v0, w0, at_angle(t0, c0, s0), a);
  const auto later = [&](const Turn& turn, double angle, double more)
      __attribute__((always_inline)) {
    const Turn t = and_a_little(turn, more);
    return at_angle(t0 + (angle + more), c0 * t.cos - s0 * t.sin, s0 * t.cos + c0 * t.sin);
  };
  const double more_1 = 0.5 * p * k1.w * to_1 * to_1, more_2 = 4.0 * more_1;
  const AtAngle at_1 = later(turn_1, p * w0 * to_1, more_1),
                at_2 = later(turn_2, p * w0 * to_2, more_2);

  StageRates gained;
  Turn end;
  double extra;  // that the speed's change turns the rotor by
  const StageRates k2 = rates(i0 + both(to_1) * k1.i, v0 + to_1 * k1.v, w0 + to_1 * k1.w, at_1,
                              between(How == Order::third ? 1.0 / 3.0 : 0.5));
  if constexpr (How == Order::third) {
    const StageRates k3 =
        rates(i0 + both(to_2) * k2.i, v0 + to_2 * k2.v, w0 + to_2 * k2.w, at_2, between(2.0 / 3.0));
    extra = p * 0.75 * h * to_2 * k2.w;
    end = and_a_little(both_turns(turn_1, turn_2), extra);
    gained = gained_by_third_order(k1, k3, h);
  } else {
    const StageRates k3 =
        rates(i0 + both(to_1) * k2.i, v0 + to_1 * k2.v, w0 + to_1 * k2.w, at_1, between(0.5));
    const StageRates k4 = rates(i0 + both(h) * k3.i, v0 + h * k3.v, w0 + h * k3.w, at_2, c);
    extra = p * h * (h / 6.0) * (k1.w + k2.w + k3.w);
    end = and_a_little(turn_2, extra);
    gained = gained_by_fourth_order(k1, k2, k3, k4, h);
  }
  Point y;
  const double unit = 1.5 - 0.5 * (c0 * c0 + s0 * s0), c1 = c0 * unit, s1 = s0 * unit;
  y.cos_e = c1 * end.cos - s1 * end.sin;
  y.sin_e = s1 * end.cos + c1 * end.sin;
  const Pair i = i0 + gained.i;
  y.i_alpha = i[0];
  y.i_beta = i[1];
  y.v_cap = v0 + gained.v;
  y.omega = w0 + gained.w;
  y.legs_C = gained.legs_A;
  y.theta = t0 + (p * w0 * h + extra);
  return y;
}
template Point Drive::Impl::phase_step<Drive::Impl::Order::third>(double) const noexcept;
template Point Drive::Impl::phase_step<Drive::Impl::Order::fourth>(double) const noexcept;

}  // namespace stillrotor::plant
