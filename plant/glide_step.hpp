// The step of glide(): of a drive in which all legs conduct and no input moves, the Taylor series
// of the solution about the step's begin.
//
// What is integrated is the windings' flux linkage in the frame in which the rotor stands at the
// begin: there the bridge's voltage keeps its direction, and the linkage answers it without the
// machine. Currents follow from it term by term (linkage.hpp), the rotor's turn being a series
// itself:
//   dflux/dt = u bus + e - r i,  i = i(flux, phi),
//   (v, w) as one pair: linear in themselves, in u . i and in the torque flux x i.
// Drag is linear about the speed at the begin (what that leaves out is the square of a step's gain
// in speed, 1e-4 rad/s), and so are iron losses. At the end currents come from the whole linkage
// and the whole turn, and what the end's torque has beyond the terms before is taken for the last
// one.
//
// The processor waits for results here more than it lacks units, so the way from one term of the
// linkage to the next is kept short: what the bus loses to its own resistance is not worked out on
// that way but counts among the resistances, along u.
//
// Order: the step allowed (plain_step_limit()) is a quarter of the link's time constant x and 0.05
// rad at most, where fourth order leaves x^5 / 120 = 8e-6 of a transient; third order below a sixth
// of it leaves 1.3e-7, second order below a thirty-second, such as dead times, 8e-8.
#pragma once

#include "plant/linkage.hpp"
#include "plant/rotor_frame.hpp"

namespace stillrotor::plant {

template <class Linkage, int Order>
[[gnu::always_inline]] inline Drive::Impl::Glided Drive::Impl::glide_step(const GlideLaw& law,
                                                                          const Glided& from,
                                                                          double h) const noexcept {
  static_assert(Order >= 2 && Order <= 4);
  const ConductionMode& m = *mode;
  // Into the frame in which the rotor stands at the begin; it stays there.
  const Pair cosine = both(from.magnet[0]), sine = conjugate(both(from.magnet[1]));
  const auto seen = [&](Pair v) __attribute__((always_inline)) {
    return cosine * v + sine * swapped(v);
  };
  const Pair u = seen(loaded(&m.u_alpha)), e = seen(loaded(&m.e_alpha_V)), i_0 = seen(from.i_A);
  const double w_0 = from.vw[1], p_h = p * h;

  // The bus gives way to what flows: that is one more resistance, along u.
  const Pair twice = pair(from.magnet[0] * from.magnet[0] - from.magnet[1] * from.magnet[1],
                          2.0 * from.magnet[0] * from.magnet[1]);
  const double gives_way_ohm = -bus.per_along_ohm;
  const Pair uneven = m.uneven_ohm + both(gives_way_ohm) * m.u_uneven;
  const Pair xy = both(twice[0]) * uneven + conjugate(both(twice[1])) * swapped(uneven);
  const Pair ohm =
      both(law.winding_ohm + m.mean_ohm + gives_way_ohm * m.u_mean) + conjugate(both(xy[0]));
  const Pair across_ohm = both(xy[1]);
  const auto drop = [&](Pair i) __attribute__((always_inline)) {
    return ohm * i + across_ohm * swapped(i);
  };
  const double drag = law.drag_gain * std::abs(w_0);

  const Pair h_1 = both(h), h_2 = both(0.5) * h_1;

  // Each of these is what the series' k-th term adds at the end: h^k is in it.
  const double along_0 = dot(loaded(&m.u_alpha), from.i_A);
  Linkage linkage(*this, law, i_0);
  const Pair flux_0 = linkage.flux_0, mirrored_0 = linkage.mirrored_0;
  // What iron losses take of the torque; as far as the speed's change does, it is a damping.
  IronLoss::Line iron;
  double iron_share = 0.0;  // of the linkage's square
  if constexpr (Linkage::has_iron) {
    if (machine.iron().any()) {
      iron = machine.iron().line(w_0);
      iron_share = iron.at / law.torque_gain;
    }
  }
  const auto less_iron = [&](double torque, auto square) __attribute__((always_inline)) {
    if constexpr (Linkage::has_iron) torque -= iron_share * square();
    return torque;
  };
  const double torque_0 =
      less_iron(sum(mirrored_0 * swapped(i_0)), [&] { return dot(flux_0, flux_0); });

  const Pair flux_1 = h_1 * ((e + u * both(law.volts + bus.from_cap * from.vw[0])) - drop(i_0));
  const double turn_1 = p_h * w_0;
  const Pair i_1 = linkage.first(flux_1, turn_1);
  Pair own = law.own - pair(0.0, 2.0 * drag);
  Pair still = law.still + pair(0.0, drag * w_0);
  if constexpr (Linkage::has_iron) {
    const double damping = law.gain * iron.per_rad_s * dot(flux_0, flux_0);
    own -= pair(0.0, damping);
    still += pair(0.0, damping * w_0);
  }
  const Pair vw_1 = h_1 * (still + own * from.vw + law.by * pair(along_0, torque_0));
  const double turn_2 = 0.5 * p_h * vw_1[1];
  const Pair flux_2 = h_2 * (u * both(bus.from_cap * vw_1[0]) - drop(i_1));

  Pair flux_end, vw_end, last_own, last_h;
  double turned, last_along, torque_before;  // what is left of the torque is the last term's
  if constexpr (Order == 2) {
    flux_end = (flux_0 + flux_1) + flux_2;
    vw_end = from.vw + vw_1;
    turned = turn_1 + turn_2;
    torque_before = torque_0;
    last_along = dot(u, i_1);
    last_own = own * vw_1;
    last_h = h_2;
  } else {
    const Pair h_3 = both(1.0 / 3.0) * h_1;
    const Pair mirrored_1 = conjugate(flux_1);
    const double torque_1 = less_iron(sum(mirrored_1 * swapped(i_0) + mirrored_0 * swapped(i_1)),
                                      [&] { return 2.0 * dot(flux_0, flux_1); });
    const Pair vw_2 = h_2 * (own * vw_1 + law.by * pair(dot(u, i_1), torque_1));
    const double turn_3 = (1.0 / 3.0) * p_h * vw_2[1];
    const Pair i_2 = linkage.second(flux_2, turn_2);
    const Pair flux_3 = h_3 * (u * both(bus.from_cap * vw_2[0]) - drop(i_2));
    if constexpr (Order == 3) {
      flux_end = (flux_0 + flux_1) + (flux_2 + flux_3);
      vw_end = (from.vw + vw_1) + vw_2;
      turned = turn_1 + (turn_2 + turn_3);
      torque_before = torque_0 + torque_1;
      last_along = dot(u, i_2);
      last_own = own * vw_2;
      last_h = h_3;
    } else {
      const double torque_2 =
          less_iron(sum((conjugate(flux_2) * swapped(i_0) + mirrored_0 * swapped(i_2)) +
                        mirrored_1 * swapped(i_1)),
                    [&] { return dot(flux_1, flux_1) + 2.0 * dot(flux_0, flux_2); });
      const Pair vw_3 = h_3 * (own * vw_2 + law.by * pair(dot(u, i_2), torque_2));
      const Pair i_3 = linkage.third(flux_3, turn_3);
      last_h = both(0.25) * h_1;
      const Pair flux_4 = last_h * (u * both(bus.from_cap * vw_3[0]) - drop(i_3));
      flux_end = (flux_0 + flux_1) + (flux_2 + (flux_3 + flux_4));
      vw_end = (from.vw + vw_1) + (vw_2 + vw_3);
      turned = (turn_1 + turn_2) + (turn_3 + 0.25 * p_h * vw_3[1]);
      torque_before = torque_0 + torque_1 + torque_2;
      last_along = dot(u, i_3);
      last_own = own * vw_3;
    }
  }

  // The end: in the rotor's axes as they stand then, and out of them.
  const Turn turn = Order == 2 ? tiny_turn(turned) : turn_by(turned);
  const Pair flux_dq = both(turn.cos) * flux_end + conjugate(both(turn.sin)) * swapped(flux_end);
  const Pair i_dq = linkage.current(flux_dq);
  Pair on = from.magnet;
  if constexpr (Order > 2)  // keeps the carried pair on the unit circle, often enough
    on *= both(1.5 - 0.5 * dot(on, on));
  Glided y;
  y.magnet = both(turn.cos) * on - conjugate(both(turn.sin)) * swapped(on);
  y.i_A = both(y.magnet[0]) * i_dq - conjugate(both(y.magnet[1])) * swapped(i_dq);
  const double torque = less_iron(cross(flux_dq, i_dq), [&] { return dot(flux_dq, flux_dq); });
  y.vw = vw_end + last_h * (last_own + law.by * pair(last_along, torque - torque_before));
  y.theta = from.theta + turned;
  y.torque_Nm = law.torque_gain * torque;
  y.i_dq_A = i_dq;
  y.iron_W = 0.0;
  if constexpr (Linkage::has_iron) {
    const double gained = y.omega() - w_0, end_Wb2 = dot(flux_dq, flux_dq);
    const double mean_Wb2 = (1.0 / 3.0) * ((dot(flux_0, flux_0) + dot(flux_0, flux_dq)) + end_Wb2);
    y.torque_Nm -= end_Wb2 * gained * iron.per_rad_s;
    y.iron_W = mean_Wb2 * (iron.at + 0.5 * gained * iron.per_rad_s) * (w_0 + 0.5 * gained);
  }
  return y;
}

}  // namespace stillrotor::plant
