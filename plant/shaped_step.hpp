// The step of glide() for a machine with one inductance, whatever the angle, and a back-EMF of any
// shape; of a drive in which all legs conduct or one floats, and no input moves: the Taylor series
// of the solution about the step's begin, on the stationary axes.
//   L di/dt = u bus + e - r i - p omega m(theta),  torque = 3/2 p m . i,
//   (v, w) as one pair: linear in themselves, in u . i and in the torque,
// m being the back-EMF over electrical speed. Where a leg floats all of this is of what lies along
// the direction that is left: one number in place of two (shaped_mode.hpp).
//
// A shape is known by its table, and corners make derivatives beyond the first worth little. So m
// enters as the cubic (Hermite) through its values and slopes at the begin and at the end of the
// turn that the speed at the begin makes; what the acceleration turns beyond that, some 1e-6 rad,
// counts by the slope. Both ends are looked up side by side at once: the processor waits for
// results here more than it lacks units.
//
// Order: four, as of glide_step.hpp's longest steps.
// RT     safe.
#pragma once

#include "plant/rotor_frame.hpp"
#include "plant/shaped_mode.hpp"

namespace stillrotor::plant {

/// Back-EMF over electrical speed, on the stationary axes [Wb], and what it gains per radian.
struct Drive::Impl::ShapedEmf {
  Pair Wb, Wb_per_rad;
};

inline Pair turned_on(Pair v, const Turn& t) noexcept {
  return both(t.cos) * v + both(t.sin) * quarter(v);
}

[[gnu::always_inline]] inline Drive::Impl::ShapedEmf Drive::Impl::shaped_emf(
    double theta, Pair magnet) const noexcept {
  const EmfShape::Sloped g = machine.shape().sloped_on_rotor(theta);
  const Turn at{magnet[0], magnet[1]};
  const Pair psi_Wb = both(s.machine.flux_linkage_Wb);
  return {psi_Wb * turned_on(g.value, at), psi_Wb * turned_on(g.per_rad + quarter(g.value), at)};
}

template <class Mode>
[[gnu::noinline]] void Drive::Impl::shaped_step(const GlideLaw& law, const Mode& m,
                                                const Glided& from, double h,
                                                Glided& to) const noexcept {
  using Amount = typename Mode::Amount;
  const auto times = [&m](double x) __attribute__((always_inline)) { return m.times(x); };
  const auto along = [](Amount x) __attribute__((always_inline)) { return Mode::product(x); };
  const double w_0 = from.omega(), p_h = p * h;

  const double even_turn = p_h * w_0;
  const Turn even = turn_by(even_turn);
  const Pair magnet_even = turned_on(from.magnet, even);
  const ShapedEmf at_begin = shaped_emf(from.theta, from.magnet),
                  at_end = shaped_emf(from.theta + even_turn, magnet_even);

  const double drag = law.drag_gain * std::abs(w_0);
  const Pair own = law.own - pair(0.0, 2.0 * drag), still = law.still + pair(0.0, drag * w_0);
  // Each of these is what the series' k-th term adds at the end: h^k is in it.
  const Pair h_1 = both(h), h_2 = both(0.5 * h), h_3 = both((1.0 / 3.0) * h), h_4 = both(0.25 * h);
  const double h_H = h * rotor.inverse[0];

  const Amount u = m.u, u_cap = m.u_cap, i_0 = m.of(from.i_A), m_0 = m.of(at_begin.Wb);
  const Amount w_e_0 = times(p * w_0);
  const Pair vw_1 = h_1 * (still + own * from.vw + law.by * pair(along(u * i_0), along(m_0 * i_0)));
  const Amount i_1 =
      times(h_H) * ((m.given_V + u_cap * times(from.vw[0])) - m.drop_V(i_0) - w_e_0 * m_0);

  const Amount slope_0 = m.of(at_begin.Wb_per_rad), slope_end = m.of(at_end.Wb_per_rad);
  const Amount m_1 = times(even_turn) * slope_0, m_1_end = times(even_turn) * slope_end;
  const Amount rise = m.of(at_end.Wb) - m_0, bend = (m_1 + m_1_end) - times(2.0) * rise;
  const double extra_1 = 0.5 * p_h * vw_1[1];
  const Amount m_2 = ((rise - m_1) - bend) + times(extra_1) * slope_0;
  const Amount w_e_1 = times(p * vw_1[1]);
  const Amount i_2 =
      times(0.5 * h_H) * (u_cap * times(vw_1[0]) - m.drop_V(i_1) - (w_e_0 * m_1 + w_e_1 * m_0));
  const Pair vw_2 =
      h_2 * (own * vw_1 + law.by * pair(along(u * i_1), along(m_0 * i_1 + m_1 * i_0)));

  const double extra_2 = (1.0 / 3.0) * p_h * vw_2[1];
  const Amount m_3 = (bend + times(extra_2) * slope_0) + times(extra_1) * (slope_end - slope_0);
  const Amount w_e_2 = times(p * vw_2[1]);
  const Amount i_3 = times((1.0 / 3.0) * h_H) * (u_cap * times(vw_2[0]) - m.drop_V(i_2) -
                                                 ((w_e_0 * m_2 + w_e_1 * m_1) + w_e_2 * m_0));
  const Pair vw_3 = h_3 * (own * vw_2 + law.by * pair(along(u * i_2),
                                                      along((m_0 * i_2 + m_1 * i_1) + m_2 * i_0)));

  const Amount i_4 = times(0.25 * h_H) *
                     (u_cap * times(vw_3[0]) - m.drop_V(i_3) -
                      ((w_e_0 * m_3 + w_e_1 * m_2) + (w_e_2 * m_1 + times(p * vw_3[1]) * m_0)));
  const Pair vw_4 =
      h_4 * (own * vw_3 + law.by * pair(along(u * i_3),
                                        along((m_0 * i_3 + m_1 * i_2) + (m_2 * i_1 + m_3 * i_0))));

  to.i_A = m.whole((i_0 + i_1) + (i_2 + (i_3 + i_4)));
  to.vw = (from.vw + vw_1) + (vw_2 + (vw_3 + vw_4));
  const double extra = (extra_1 + extra_2) + 0.25 * p_h * vw_3[1];
  to.theta = from.theta + (even_turn + extra);
  // The carried pair turns on by the little more as well, and keeps to the unit circle.
  const double less = 0.5 * (dot(from.magnet, from.magnet) - 1.0) + 0.5 * extra * extra;
  to.magnet = both(1.0 - less) * magnet_even + both(extra) * quarter(magnet_even);
  to.emf_Wb = at_end.Wb + both(extra) * at_end.Wb_per_rad;
  to.torque_Nm = law.torque_gain * dot(to.emf_Wb, to.i_A);
  to.i_dq_A = both(0.0);
  to.iron_W = 0.0;
}

[[gnu::always_inline]] inline void Drive::Impl::shaped_step(const GlideLaw& law,
                                                            const ShapedMode& m, const Glided& from,
                                                            double h, Glided& to) const noexcept {
  if (m.plane)
    shaped_step(law, *m.plane, from, h, to);
  else
    shaped_step(law, *m.line, from, h, to);
}

}  // namespace stillrotor::plant
