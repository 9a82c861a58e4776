// The inner loop of a plain drive: fast steps, changes of gates, phase-current sensors and the
// observer, nothing else. The step in which anything happens is left to advance() and all its
// questions.
#include "plant/flow.hpp"
#include "plant/glide_step.hpp"

namespace stillrotor::plant {

template <bool Ohms>
[[gnu::always_inline]] inline Drive::Impl::Glided Drive::Impl::glide_step(
    const GlideLaw& law, const Glided& from, double h, double limit) const noexcept {
  if (h < second_share * limit) return glide_step<Ohms, 2>(law, from, h);
  if (h < third_share * limit) return glide_step<Ohms, 3>(law, from, h);
  return glide_step<Ohms, 4>(law, from, h);
}

// Without a cable and a supply of its own mind.
[[gnu::always_inline]] inline LinkProbe Drive::Impl::plain_link(const GlideLaw& law, Pair i_A,
                                                                double v_cap_V) const noexcept {
  const double along_A = dot(pair(mode->u_alpha, mode->u_beta), i_A);
  const double bus_V = bus.from_cap * v_cap_V + bus.per_along_ohm * along_A + law.volts;
  return {bus_V, bus.per_supply_S * (law.source_V - bus_V) + bus.constant_A,
          1.5 * along_A + mode->shoot_S * bus_V};
}

// A step that nobody has to look at, and what it burns (thermal/step_heat.cpp).
[[gnu::always_inline]] inline void Drive::Impl::enter(Tally& tally, const GlideLaw& law,
                                                      double omega_before, const Glided& to,
                                                      const PhasePairs& to_A,
                                                      double h) const noexcept {
  const ConductionMode& m = *mode;
  const LinkProbe link = plain_link(law, to.i_A, to.v_cap());
  const Pair before_u_v = tally.end.u_v;
  const double before_w = tally.end.w_bus[0], before_V = tally.end.w_bus[1];
  const Tally::Squares mean = tally.add(
      {to_A.u_v, pair(to_A.w, link.bus_V), pair(link.supply_A, to.torque_Nm), link.bridge_A}, h);
  tally.end_at(to.i_A[0], to.i_A[1]);

  const double squares = mean.u_v[0] + mean.u_v[1] + mean.w;
  tally.heat.winding_J += h * s.machine.winding_ohm[0] * squares;
  double legs_W = m.r_aa_ohm * squares;
  if (m.legs != LegsDiffer::no) {
    const Pair two = loaded(&m.leg_ohm[0]) * mean.u_v -
                     loaded(&m.leg_V[0]) * (both(0.5) * (before_u_v + to_A.u_v));
    legs_W = (two[0] + two[1]) + (m.leg_ohm[2] * mean.w - m.leg_V[2] * (0.5 * (before_w + to_A.w)));
  }
  if (m.shoot_S > 0.0) [[unlikely]]
    legs_W += m.shoot_S * mean_square(before_V, link.bus_V);
  tally.heat.legs_J += h * legs_W;
  const double omega = 0.5 * (omega_before + to.omega());
  tally.heat.friction_J += h * (shaft_law.viscous * omega * omega + coulomb_Nm * std::abs(omega));
}

[[gnu::always_inline]] inline void Drive::Impl::take(const Glided& y) noexcept {
  s.i_alpha_A = y.i_A[0];
  s.i_beta_A = y.i_A[1];
  s.v_cap_V = y.vw[0];
  s.omega_m_rad_s = y.vw[1];
  s.theta_e_rad = y.theta;
  s.cos_e = y.magnet[0];
  s.sin_e = y.magnet[1];
}

/// As follow_phase_currents().
[[gnu::always_inline]] inline void Drive::Impl::sense(const PhasePairs& from_A,
                                                      const PhasePairs& to_A, double h) noexcept {
  if (!analog.plain_phases) return follow_phase_currents(from_A, to_A, h);
  const LagStep& lag = analog.phase_lag(h);
  SeenCurrent* const seen = s.analog.phase;
  const Pair u_v = lag(pair(seen[0].output_A, seen[1].output_A), from_A.u_v, to_A.u_v);
  seen[0].output_A = u_v[0];
  seen[1].output_A = u_v[1];
  seen[2].output_A = lag(seen[2].output_A, from_A.w, to_A.w);
}

/// As use_plain_legs(), of currents that are known two by two.
[[gnu::always_inline]] inline bool Drive::Impl::glide_legs(const Glided& now,
                                                           const PhasePairs& now_A) noexcept {
  if (!(dot(now.i_A, now.i_A) < share_A * share_A)) return false;
  const Gated& to = gated[s.gates];
  unsigned signs = 0;
  if (!to.all) {
    const Pair out = now_A.u_v - both(zero_A), into = now_A.u_v + both(zero_A);
    const unsigned flow_in = below_zero(into), not_out = below_zero(out);
    const bool w_out = now_A.w > zero_A, w_in = now_A.w < -zero_A;
    if (flow_in != not_out || w_out == w_in) return false;  // some current is none
    signs = (~flow_in & 3U) | (w_out ? 4U : 0U);
  }
  use_legs(to.leg[signs], *to.mode[signs]);
  return true;
}

/// At way.until_ps, as pass_change(): of a driver that passes on what it is told.
[[gnu::always_inline]] inline void Drive::Impl::glide_through(const GateChange& change,
                                                              const Glided& now,
                                                              const PhasePairs& now_A) noexcept {
  const unsigned mask = 1U << static_cast<unsigned>(change.which);
  const auto asked = static_cast<std::uint8_t>(change.on ? s.asked | mask : s.asked & ~mask);
  if (switches_broken || switching_costs || s.rotation == 0) return switch_gates(asked);
  s.asked = asked;
  if (asked == s.gates) return;
  s.gates = asked;
  if (s.open_phases != 0 || s.grounded >= 0 || !glide_legs(now, now_A)) choose_legs();
}

// As advance() would go, at most to way.until_ps.
void Drive::Impl::glide(Way& way, bool whole_steps_only, SegmentObserver* observer) noexcept {
  Tally* const tally = observer ? observer->tally : nullptr;
  const double ahead = std::min(s.edge_ahead_rad, two_pi),
               behind = std::max(s.edge_behind_rad, 0.0);
  Glided ends[2]{{pair(s.i_alpha_A, s.i_beta_A), pair(s.v_cap_V, s.omega_m_rad_s),
                  pair(s.cos_e, s.sin_e), s.theta_e_rad, 0.0}};
  Glided *now = &ends[0], *then = &ends[1];
  PhasePairs now_A(now->i_A);
  GlideLaw law = glide_law();
  bool moves = !watches_motion();
  while (mode->freedom == 2 && moves) {
    const std::int64_t target_ps = std::min(way.until_ps, s.alarm_ps);
    const double left = static_cast<double>(target_ps - s.time_ps) * 1e-12 - s.offset_s;
    if (left <= 0.0) {
      if (target_ps == s.alarm_ps || way.next == way.end) return;
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      glide_through(*way.next, *now, now_A);
      if (++way.next != way.end) way.until_ps = std::max(way.next->at_ps, way.until_ps);
      if (mode->shoot_S != law.shoot_S || s.rotation != law.rotation) {
        law = glide_law();
        moves = !watches_motion();
      }
      now->vw = pair(s.v_cap_V, now->vw[1]);  // what a change of gates costs
      continue;
    }
    const double limit = plain_step_limit(now->omega());
    if (whole_steps_only && left < limit && target_ps != s.alarm_ps) return;
    const bool whole = left <= limit;
    const double h = whole ? left : limit;
    const double turned = now->theta + p * h * now->omega();  // about
    if (turned >= ahead || turned < behind) return;
    *then = mode->legs == LegsDiffer::in_ohms ? glide_step<true>(law, *now, h, limit)
                                              : glide_step<false>(law, *now, h, limit);
    const PhasePairs then_A(then->i_A);
    const Pair margins =
        lesser(loaded(&mode->way[0]) * then_A.u_v - loaded(&mode->beyond_A[0]),
               pair(mode->way[2] * then_A.w - mode->beyond_A[2], then->omega() * law.stops));
    if (below_zero(margins) != 0 || then->theta >= ahead || then->theta < behind) return;

    const bool reaches =
        tally && (whole ? tally->until_ps <= target_ps
                        : tally->left_s(s.time_ps, s.offset_s) <= h + Tally::same_instant_s);
    const bool tallied = tally && !reaches && enter_mode(*tally, [&] {
                           return plain_link(law, now->i_A, now->v_cap());
                         });
    if (observer && !tallied) {
      show(*then, now_A, then_A, h, whole ? target_ps : 0, *observer);
    } else {
      if (analog.follows_phases) sense(now_A, then_A, h);
      take(*then);
      if (whole) {
        s.time_ps = target_ps;
        s.offset_s = 0.0;
      } else {
        settle_time(h);
      }
      if (tallied) enter(*tally, law, now->omega(), *then, then_A, h);
    }
    std::swap(now, then);
    now_A = then_A;
  }
}

/// A step that the observer itself looks at. ends_ps: 0 where it ends between two picoseconds.
[[gnu::noinline]] void Drive::Impl::show(const Glided& y, const PhasePairs& from_A,
                                         const PhasePairs& to_A, double h, std::int64_t ends_ps,
                                         SegmentObserver& observer) noexcept {
  const Continuous begin = s;
  const AnalogState analog_before = s.analog;
  if (analog.follows_phases) sense(from_A, to_A, h);
  take(y);
  settle_time(h);
  if (ends_ps != 0) {
    s.time_ps = ends_ps;
    s.offset_s = 0.0;
  }
  observer.on_segment({&begin, &s, h, &analog_before});
}

}  // namespace stillrotor::plant
