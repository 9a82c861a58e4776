// The inner loop of a plain drive: fast steps, changes of gates, sensor edges, phase-current
// sensors and the observer, nothing else. The step in which anything else happens is left to
// advance() and all its questions.
#include "plant/flow.hpp"
#include "plant/glide_step.hpp"

namespace stillrotor::plant {

/// An end of a step, with the currents of the phases.
struct Drive::Impl::GlideEnd {
  Glided y;
  PhasePairs A{both(0.0)};
};

[[gnu::noinline]] void Drive::Impl::glide_step(const GlideLaw& law, const Glided& from, double h,
                                               double limit, Glided& to) const noexcept {
  if (h < second_share * limit)
    to = glide_step<2>(law, from, h);
  else if (h < third_share * limit)
    to = glide_step<3>(law, from, h);
  else
    to = glide_step<4>(law, from, h);
}

/// A part of a step, from its begin.
Point Drive::Impl::glided(const Continuous& from, double h) const noexcept {
  Glided to;
  glide_step(glide_law(),
             {pair(from.i_alpha_A, from.i_beta_A), pair(from.v_cap_V, from.omega_m_rad_s),
              pair(from.cos_e, from.sin_e), from.theta_e_rad, 0.0},
             h, plain_step_limit(from.omega_m_rad_s), to);
  return {to.i_A[0],    to.i_A[1],    to.v_cap(), to.omega(), to.theta,
          to.magnet[0], to.magnet[1], from.extra, 0.0};
}

/// To the first picosecond at which the angle has reached the threshold ahead, or passed the one
/// behind. Returns that moment; 0: none is found within h.
[[gnu::noinline]] std::int64_t Drive::Impl::glide_to_edge(const GlideLaw& law, const Glided& from,
                                                          double h, double limit,
                                                          Glided& to) const noexcept {
  const auto beyond = [this](double theta) {
    return theta >= s.edge_ahead_rad || theta < s.edge_behind_rad;
  };
  const double w = from.omega(), speed = p * w;
  const double threshold = speed > 0.0 ? s.edge_ahead_rad : s.edge_behind_rad;
  // At the speed and acceleration of the begin; by what the torque changes, the step itself says.
  const Dq i_A = park({from.i_A[0], from.i_A[1]}, from.magnet[0], from.magnet[1]);
  const double rate = p * (law.still[1] + (law.own[1] - law.drag_gain * std::abs(w)) * w +
                           law.by[1] / law.torque_gain * plain_torque_Nm(i_A));
  const double way = threshold - from.theta, root = std::sqrt(speed * speed + 2.0 * rate * way);
  double ps = std::ceil(1e12 * (s.offset_s + 2.0 * way / (speed + std::copysign(root, speed))));
  for (int tries = 0; tries < 4; ++tries) {
    const double span = ps * 1e-12 - s.offset_s;
    if (!(span > 0.0 && span <= h)) return 0;
    glide_step(law, from, span, limit, to);
    const double speed_there = p * to.omega();
    if (beyond(to.theta) && !beyond(to.theta - 1e-12 * speed_there))
      return s.time_ps + static_cast<std::int64_t>(ps);
    ps = std::ceil(ps + 1e12 * (threshold - to.theta) / speed_there);
  }
  return 0;
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
                                                      const GlideEnd& from, const GlideEnd& to,
                                                      double h) const noexcept {
  const ConductionMode& m = *mode;
  const LinkProbe link = plain_link(law, to.y.i_A, to.y.v_cap());
  const double before_V = tally.end.w_bus[1];
  const Tally::Sums sums = tally.add(
      {to.A.u_v, pair(to.A.w, link.bus_V), pair(link.supply_A, to.y.torque_Nm), link.bridge_A}, h);
  tally.end_at(to.y.i_A[0], to.y.i_A[1]);

  const double third = h * (1.0 / 3.0);
  const double squares = third * (sums.three_u_v[0] + sums.three_u_v[1] + sums.three_w);
  tally.heat.winding_J += law.winding_ohm * squares;
  double legs_J = m.r_aa_ohm * squares;
  if (m.legs != LegsDiffer::no) {
    const Pair two = both(third) * (loaded(&m.leg_ohm[0]) * sums.three_u_v) -
                     both(0.5 * h) * (loaded(&m.leg_V[0]) * sums.two_u_v);
    legs_J = (two[0] + two[1]) +
             (third * (m.leg_ohm[2] * sums.three_w) - 0.5 * h * (m.leg_V[2] * sums.two_w));
  }
  if (m.shoot_S > 0.0) [[unlikely]]
    legs_J += h * m.shoot_S * mean_square(before_V, link.bus_V);
  tally.heat.legs_J += legs_J;
  const double twice = std::abs(from.y.omega() + to.y.omega());
  tally.heat.friction_J += h * twice * (0.25 * shaft_law.viscous * twice + 0.5 * coulomb_Nm);
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
  if (!analog.follows_phases) return;
  if (!analog.plain_phases) return follow_phase_currents(from_A, to_A, h);
  const LagStep& lag = analog.phase_lag(h);
  SeenCurrent* const seen = s.analog.phase;
  const Pair u_v = lag(pair(seen[0].output_A, seen[1].output_A), from_A.u_v, to_A.u_v);
  seen[0].output_A = u_v[0];
  seen[1].output_A = u_v[1];
  seen[2].output_A = -(u_v[0] + u_v[1]);  // lags of one time constant: they add up as currents do
}

/// As use_plain_legs(), of currents that are known two by two.
[[gnu::always_inline]] inline bool Drive::Impl::glide_legs(const GlideEnd& now) noexcept {
  if (!(dot(now.y.i_A, now.y.i_A) < share_A * share_A)) return false;
  const Gated& to = gated[s.gates];
  unsigned signs = 0;
  if (!to.all) {
    const Pair out = now.A.u_v - both(zero_A), into = now.A.u_v + both(zero_A);
    const unsigned flow_in = below_zero(into), not_out = below_zero(out);
    const bool w_out = now.A.w > zero_A, w_in = now.A.w < -zero_A;
    if (flow_in != not_out || w_out == w_in) return false;  // some current is none
    signs = (~flow_in & 3U) | (w_out ? 4U : 0U);
  }
  use_legs(to.leg[signs], *to.mode[signs]);
  return true;
}

/// At way.until_ps, as pass_change(): of a driver that passes on what it is told. True: no more has
/// changed than how the legs conduct, and all still do.
[[gnu::always_inline]] inline bool Drive::Impl::glide_through(const GateChange& change,
                                                              bool plain_gates,
                                                              GlideEnd& now) noexcept {
  const unsigned mask = 1U << static_cast<unsigned>(change.which);
  const auto asked = static_cast<std::uint8_t>(change.on ? s.asked | mask : s.asked & ~mask);
  if (!plain_gates) {
    take(now.y);
    switch_gates(asked);
    now.y.vw = pair(s.v_cap_V, now.y.omega());  // what it costs
    return false;
  }
  s.asked = asked;
  if (asked == s.gates) return true;
  s.gates = asked;
  const double before_S = mode->shoot_S;
  if (glide_legs(now)) return mode->shoot_S == before_S;
  take(now.y);
  choose_legs();
  return false;
}

// As advance() would go, where may_glide(). True: arrived, with nothing else due. Until the end s
// is left behind, all but its time.
bool Drive::Impl::glide(Way& way, bool whole_steps_only, SegmentObserver* observer) noexcept {
  if (way.until_ps == s.time_ps && s.offset_s == 0.0 && way.next == way.end)
    return way.until_ps != s.alarm_ps;
  Tally* const tally = observer ? observer->tally : nullptr;
  const double ahead = std::min(s.edge_ahead_rad, two_pi),
               behind = std::max(s.edge_behind_rad, 0.0);
  GlideEnd ends[2];
  GlideEnd *now = &ends[0], *then = &ends[1];
  now->y = {pair(s.i_alpha_A, s.i_beta_A), pair(s.v_cap_V, s.omega_m_rad_s), pair(s.cos_e, s.sin_e),
            s.theta_e_rad, 0.0};
  now->A = PhasePairs(now->y.i_A);
  GlideLaw law = glide_law();
  const bool plain_gates = !switches_broken && !switching_costs &&
                           (s.rotation != 0 || shaft_law.never_changes()) && s.open_phases == 0 &&
                           s.grounded < 0;
  bool arrived = false, entered = false;  // entered: the tally is in this mode
  for (std::int64_t target_ps = std::min(way.until_ps, s.alarm_ps);;) {
    const double left = static_cast<double>(target_ps - s.time_ps) * 1e-12 - s.offset_s;
    if (left <= 0.0) {
      if (target_ps == s.alarm_ps) break;
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      arrived = way.next == way.end;
      if (arrived) break;
      const Pair before_u = loaded(&mode->u_alpha);
      const bool goes_on = glide_through(*way.next, plain_gates, *now);
      way.pass();
      target_ps = std::min(way.until_ps, s.alarm_ps);
      // Where a diode takes over from the switch beside it the link does not jump.
      entered = entered && goes_on && before_u[0] == mode->u_alpha && before_u[1] == mode->u_beta;
      if (entered) tally->mode = conduction_word(s);
      if (!goes_on) [[unlikely]] {
        if (mode->freedom != 2 || watches_motion()) break;
        if (mode->shoot_S != law.shoot_S || s.rotation != law.rotation) law = glide_law();
      }
      continue;
    }
    const double limit = plain_step_limit(now->y.omega());
    if (whole_steps_only && left < limit && target_ps != s.alarm_ps) break;
    std::int64_t ends_ps = left <= limit ? target_ps : 0;  // 0: between two picoseconds
    double h = std::min(left, limit);
    const double turned = now->y.theta + p * h * now->y.omega();  // about
    const bool edge = turned >= ahead || turned < behind;
    if (edge) {
      if (turned >= two_pi || turned < 0.0) break;
      ends_ps = glide_to_edge(law, now->y, h, limit, then->y);
      if (ends_ps == 0) break;
      h = static_cast<double>(ends_ps - s.time_ps) * 1e-12 - s.offset_s;
    } else {
      glide_step(law, now->y, h, limit, then->y);
    }
    then->A = PhasePairs(then->y.i_A);
    const Pair margins =
        lesser(loaded(&mode->way[0]) * then->A.u_v - loaded(&mode->beyond_A[0]),
               pair(mode->way[2] * then->A.w - mode->beyond_A[2], then->y.omega() * law.stops));
    if (below_zero(margins) != 0) break;
    if (!edge && (then->y.theta >= ahead || then->y.theta < behind)) break;

    bool tallied = false;
    if (tally) {
      const bool reaches = ends_ps != 0
                               ? tally->until_ps <= ends_ps
                               : tally->left_s(s.time_ps, s.offset_s) <= h + Tally::same_instant_s;
      if (!reaches && !entered)
        entered = enter_mode(*tally, now->y.i_A,
                             [&] { return plain_link(law, now->y.i_A, now->y.v_cap()); });
      tallied = !reaches && entered;
    }
    if (observer && !tallied) {
      take(now->y);
      show(*now, *then, h, ends_ps, *observer);
    } else {
      sense(now->A, then->A, h);
      if (tallied) enter(*tally, law, *now, *then, h);
      if (ends_ps != 0) {
        s.time_ps = ends_ps;
        s.offset_s = 0.0;
      } else {
        settle_time(h);
      }
    }
    std::swap(now, then);
    if (edge) break;
  }
  take(now->y);
  return arrived;
}

/// A step that the observer itself looks at. ends_ps: 0 where it ends between two picoseconds.
[[gnu::noinline]] void Drive::Impl::show(const GlideEnd& from, const GlideEnd& to, double h,
                                         std::int64_t ends_ps, SegmentObserver& observer) noexcept {
  const Continuous begin = s;
  const AnalogState analog_before = s.analog;
  sense(from.A, to.A, h);
  take(to.y);
  settle_time(h);
  if (ends_ps != 0) {
    s.time_ps = ends_ps;
    s.offset_s = 0.0;
  }
  observer.on_segment({&begin, &s, h, &analog_before});
}

}  // namespace stillrotor::plant
