// The fast path of a saturated machine while all three legs conduct: one step in the rotor frame,
// with currents as states and the flux map's piece of each stage.
//   H di/dt = v - R i - r_legs i - omega_e (J psi + psi_m (g - (0, 1))),   J psi = (-psi_q, psi_d)
// The same equations as machine/saturated_magnet.hpp and flow.hpp, turned by -theta.
// Source: textbook (two-axis model with saturation), from memory; tested against flow.hpp.
#include "plant/flow.hpp"
#include "plant/rotor_frame.hpp"
#include "plant/stage_rates.hpp"

namespace stillrotor::plant {
template <LegsDiffer Legs, Drive::Impl::Order How>
Point Drive::Impl::map_step(double h) const noexcept {
  const ConductionMode& m = *mode;
  const FluxMap& map = *machine.flux_map();
  const double c0 = s.cos_e, s0 = s.sin_e;
  const Pair i0 = into_rotor(s.i_alpha_A, s.i_beta_A, c0, s0);
  if (!map.reaches(i0[0], i0[1])) return step<false, false, How>(h, nullptr);

  FluxMapPiece piece(map);
  const double psi = s.machine.flux_linkage_Wb, off_map = psi - map.magnet_Wb();
  const EmfShape& shape = machine.shape();
  const bool sine = shape.is_sine(), cogs = machine.cogging().any(), iron = machine.iron().any();
  const bool held = s.speed_held, stuck = s.rotation == 0 && coulomb_Nm > 0.0;
  const double inertia_gain = held || stuck ? 0.0 : inertia_inverse;
  const double given_rate = held ? s.held_speed_rad_s.rate_per_s : 0.0;
  const double friction = coulomb_Nm * s.rotation;

  const Pair u0 = into_rotor(m.u_alpha, m.u_beta, c0, s0);
  // Knees and unlike legs turn with the frame, as in rotor_step.cpp.
  constexpr bool knees = Legs != LegsDiffer::no, ohms = Legs == LegsDiffer::in_ohms;
  const Pair e0 = knees ? into_rotor(m.e_alpha_V, m.e_beta_V, c0, s0) : both(0.0);
  const double r_mean = s.machine.winding_ohm[0] + 0.5 * (m.r_aa_ohm + m.r_bb_ohm);
  const Pair uneven0 = ohms ? into_rotor(0.5 * (m.r_aa_ohm - m.r_bb_ohm), m.r_ab_ohm,
                                         c0 * c0 - s0 * s0, 2.0 * s0 * c0)
                            : both(0.0);
  const Drivers a = drivers(0.0), c = ramping ? drivers(h) : a;
  const auto between = [&](double x) {
    return Drivers{a.supply_V + x * (c.supply_V - a.supply_V),
                   a.load_Nm + x * (c.load_Nm - a.load_Nm)};
  };

  const auto rates = [&](Pair i, double v_cap, double w, const Turn& t, double theta,
                         const Drivers& in) __attribute__((always_inline)) {
    const FluxMap::Values l = piece.at(i[0], i[1]);
    const Pair u = seen(u0, t);
    const double w_e = p * w, psi_d = l.psi_d + off_map;
    const double legs = 1.5 * dot(u, i);
    const double bus_volts =
        (bus.from_cap * v_cap + bus.from_supply * in.supply_V + bus.constant_V) +
        bus.from_legs_ohm * legs;
    Pair moved = pair(-l.psi_q, psi_d);
    double torque = psi_d * i[1] - l.psi_q * i[0];
    if (!sine) {
      const Pair extra = both(psi) * (shape.on_rotor(theta) - pair(0.0, 1.0));
      moved += extra;
      torque += dot(extra, i);
    }
    Pair push = u * both(bus_volts) - both(r_mean) * i - both(w_e) * moved;
    if constexpr (knees) push += seen(e0, t);
    if constexpr (ohms) {
      const Pair x = seen(uneven0, twice(t));
      push -= x * both(i[0]) + turning(x) * both(i[1]);
    }
    const double inverse = 1.0 / (l.l_dd * l.l_qq - l.l_dq * l.l_dq);
    double opposing = drag_Nm(w) + friction + in.load_Nm;
    if (cogs) opposing -= cogging_Nm(theta);
    if (iron) opposing += machine.iron().drag_Nm(psi_d * psi_d + l.psi_q * l.psi_q, w);
    StageRates k;
    k.legs_A = legs;
    k.i = both(inverse) * (pair(l.l_qq, l.l_dd) * push - both(l.l_dq) * swapped(push));
    const double supply = bus.per_supply_S * (in.supply_V - bus_volts) + bus.constant_A;
    k.v = (supply - legs - bus.across_S * bus_volts - bus.across_A) * capacitance_inverse;
    k.w = given_rate + inertia_gain * (1.5 * p * torque - opposing);
    return k;
  };

  const double w0 = s.omega_m_rad_s, v0 = s.v_cap_V, t0 = s.theta_e_rad;
  const StageRates k1 = rates(i0, v0, w0, {1.0, 0.0}, t0, a);
  StageRates gained;
  Turn end;
  double extra;  // that the speed's change turns the rotor by
  if constexpr (How == Order::third) {
    const double to_1 = h / 3.0, to_2 = 2.0 * to_1;
    const Turn first = turn_by(p * w0 * to_1);
    const StageRates k2 = rates(i0 + both(to_1) * k1.i, v0 + to_1 * k1.v, w0 + to_1 * k1.w, first,
                                t0 + p * w0 * to_1, between(1.0 / 3.0));
    const double extra_3 = p * to_2 * to_1 * k1.w;
    const Turn second = twice(first);
    const StageRates k3 =
        rates(i0 + both(to_2) * k2.i, v0 + to_2 * k2.v, w0 + to_2 * k2.w,
              and_a_little(second, extra_3), t0 + p * w0 * to_2 + extra_3, between(2.0 / 3.0));
    extra = p * 0.75 * h * to_2 * k2.w;
    end = and_a_little(both_turns(first, second), extra);
    gained = gained_by_third_order(k1, k3, h);
  } else {
    const double half = 0.5 * h;
    const Turn to_half = turn_by(p * w0 * half), to_end = twice(to_half);
    const double t_half = t0 + p * w0 * half, t_end = t0 + p * w0 * h;
    const Drivers b = between(0.5);
    const StageRates k2 =
        rates(i0 + both(half) * k1.i, v0 + half * k1.v, w0 + half * k1.w, to_half, t_half, b);
    const double extra_3 = p * half * half * k1.w, extra_4 = p * h * half * k2.w;
    const StageRates k3 = rates(i0 + both(half) * k2.i, v0 + half * k2.v, w0 + half * k2.w,
                                and_a_little(to_half, extra_3), t_half + extra_3, b);
    const StageRates k4 = rates(i0 + both(h) * k3.i, v0 + h * k3.v, w0 + h * k3.w,
                                and_a_little(to_end, extra_4), t_end + extra_4, c);
    extra = p * h * (h / 6.0) * (k1.w + k2.w + k3.w);
    end = and_a_little(to_end, extra);
    gained = gained_by_fourth_order(k1, k2, k3, k4, h);
  }
  const Pair i = i0 + gained.i;
  Point y;
  y.v_cap = v0 + gained.v;
  y.omega = w0 + gained.w;
  y.legs_C = gained.legs_A;
  y.cos_e = c0 * end.cos - s0 * end.sin;
  y.sin_e = s0 * end.cos + c0 * end.sin;
  const double unit = 1.5 - 0.5 * (y.cos_e * y.cos_e + y.sin_e * y.sin_e);
  y.cos_e *= unit;
  y.sin_e *= unit;
  y.i_alpha = y.cos_e * i[0] - y.sin_e * i[1];
  y.i_beta = y.sin_e * i[0] + y.cos_e * i[1];
  y.theta = t0 + (p * w0 * h + extra);
  return y;
}

template <Drive::Impl::Order How>
Point Drive::Impl::map_step(double h) const noexcept {
  switch (mode->legs) {
    case LegsDiffer::no:
      return map_step<LegsDiffer::no, How>(h);
    case LegsDiffer::in_knees:
      return map_step<LegsDiffer::in_knees, How>(h);
    case LegsDiffer::in_ohms:
      break;
  }
  return map_step<LegsDiffer::in_ohms, How>(h);
}
template Point Drive::Impl::map_step<Drive::Impl::Order::third>(double) const noexcept;
template Point Drive::Impl::map_step<Drive::Impl::Order::fourth>(double) const noexcept;

}  // namespace stillrotor::plant
