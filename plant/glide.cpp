// The inner loop of a plain, a saturated or a shaped drive: fast steps, changes of gates, sensor
// edges, sensors with a memory, heat and the observer, nothing else. The step in which anything
// else happens is left to advance() and all its questions.
#include "plant/first_due.hpp"
#include "plant/flow.hpp"
#include "plant/glide_follow.hpp"
#include "plant/glide_step.hpp"
#include "plant/shaped_step.hpp"

namespace stillrotor::plant {

Drive::Impl::Glided Drive::Impl::glided_of(const Continuous& c) noexcept {
  Glided y;
  y.i_A = pair(c.i_alpha_A, c.i_beta_A);
  y.vw = pair(c.v_cap_V, c.omega_m_rad_s);
  y.magnet = pair(c.cos_e, c.sin_e);
  y.theta = c.theta_e_rad;
  return y;
}

template <class Linkage>
[[gnu::noinline]] void Drive::Impl::glide_step(const GlideLaw& law, const Glided& from, double h,
                                               double limit, Glided& to) const noexcept {
  if (h < second_share * limit)
    to = glide_step<Linkage, 2>(law, from, h);
  else if (h < third_share * limit)
    to = glide_step<Linkage, 3>(law, from, h);
  else
    to = glide_step<Linkage, 4>(law, from, h);
}
void Drive::Impl::glide_step(const GlideLaw& law, const Glided& from, double h, double limit,
                             Glided& to) const noexcept {
  switch (glide_by) {
    case GlideBy::shape:
      shaped_step(law, ShapedMode(*this, law), from, h, to);
      break;
    case GlideBy::map:
      glide_step<MapLinkage>(law, from, h, limit, to);
      break;
    default:
      glide_step<PlainLinkage>(law, from, h, limit, to);
  }
}

/// A part of a step, from its begin.
Point Drive::Impl::glided(const Continuous& from, double h) const noexcept {
  Glided to;
  glide_step(glide_law(), glided_of(from), h, plain_step_limit(from.omega_m_rad_s), to);
  Point y = point_at(to);
  y.extra = from.extra;
  return y;
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
  const double torque_Nm =
      glide_by == GlideBy::plain
          ? plain_torque_Nm(park({from.i_A[0], from.i_A[1]}, from.magnet[0], from.magnet[1]))
          : machine_torque_Nm(point_at(from));
  const double rate = p * (law.still[1] + (law.own[1] - law.drag_gain * std::abs(w)) * w +
                           law.by[1] / law.torque_gain * torque_Nm);
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

/// To the moment in which a leg's current reaches the end of its way, a floating terminal that of
/// its window, or the bus where the supply changes, as at `to`; returns the time to it. shaped: of
/// that kind of step.
[[gnu::noinline]] double Drive::Impl::glide_to_change(const GlideLaw& law, const GlideEnd& from,
                                                      double h, double limit,
                                                      const ShapedMode* shaped,
                                                      GlideEnd& to) const noexcept {
  GlideEnd end = from;
  if (shaped) end.y.emf_Wb = shaped_emf(from.y.theta, from.y.magnet).Wb;
  const double margin_at_begin = least_margin(law, end, shaped);
  return first_due(
      h, least_margin(law, to, shaped), margin_at_begin,
      [&](double t) {
        if (shaped)
          shaped_step(law, *shaped, from.y, t, end.y);
        else
          glide_step(law, from.y, t, limit, end.y);
        end.A = PhasePairs(end.y.i_A);
        return least_margin(law, end, shaped);
      },
      [&] { to = end; });
}

/// In amperes, or in volts of a floating terminal or of the bus.
double Drive::Impl::least_margin(const GlideLaw& law, const GlideEnd& at,
                                 const ShapedMode* shaped) const noexcept {
  const Pair u_v = loaded(&mode->way[0]) * at.A.u_v - loaded(&mode->beyond_A[0]);
  const double least_A = std::min({u_v[0], u_v[1], mode->way[2] * at.A.w - mode->beyond_A[2]});
  const bool floats = shaped && shaped->floating;
  if (!floats && !watches_supply) return least_A;
  const double bus_V = plain_link(law, at.y.i_A, at.y.v_cap()).bus_V;
  double least = least_A;
  if (floats) least = std::min(least, shaped->floating->margin_V(at.y, bus_V));
  if (watches_supply) least = std::min(least, law.watch.margin(bus_V));
  return least;
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

/// What legs that are out leave of the currents. (Where all conduct nothing has changed, and to
/// read in one piece what has just been written in two would be waited for.)
[[gnu::always_inline]] inline void Drive::Impl::read_currents(GlideEnd& now) const noexcept {
  if (mode->freedom == 2) return;
  now.y.i_A = pair(s.i_alpha_A, s.i_beta_A);
  now.A = PhasePairs(now.y.i_A);
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
    read_currents(now);
    return false;
  }
  s.asked = asked;
  if (asked == s.gates) return true;
  s.gates = asked;
  const double before_S = mode->shoot_S;
  if (glide_legs(now)) return mode->shoot_S == before_S;
  take(now.y);
  choose_legs();
  read_currents(now);
  return false;
}

/// Where gates have just made the bus jump.
[[gnu::noinline]] bool Drive::Impl::supply_changes(const GlideLaw& law,
                                                   const GlideEnd& now) noexcept {
  if (law.watch.margin(plain_link(law, now.y.i_A, now.y.v_cap()).bus_V) >= 0.0) return false;
  take(now.y);
  choose_supply();
  return true;
}

Drive::Impl::Glide Drive::Impl::glide(Way& way, bool whole_steps_only,
                                      SegmentObserver* observer) noexcept {
  if (glide_by == GlideBy::shape) return glide<false, true>(way, whole_steps_only, observer);
  const bool lean = !mapped && !watched && !warms && !analog.follows_rest && !watches_supply;
  return lean ? glide<true, false>(way, whole_steps_only, observer)
              : glide<false, false>(way, whole_steps_only, observer);
}

// As advance() would go, where may_glide(). Until the end s is left behind, all but its time.
// Lean: a plain machine, and nothing with a memory but it and its phase-current sensors.
template <bool Lean, bool Shaped>
Drive::Impl::Glide Drive::Impl::glide(Way& way, bool whole_steps_only,
                                      SegmentObserver* observer) noexcept {
  if (nearly_empty(s.v_cap_V, current_A2())) return Glide::left;
  if (way.until_ps == s.time_ps && s.offset_s == 0.0 && way.next == way.end)
    return way.until_ps != s.alarm_ps ? Glide::arrived : Glide::left;
  Tally* const tally = observer ? observer->tally : nullptr;
  const double ahead = std::min(s.edge_ahead_rad, two_pi),
               behind = std::max(s.edge_behind_rad, 0.0);
  GlideEnd begin(glided_of(s)), end;
  GlideEnd *now = &begin, *then = &end;
  GlideLaw law = glide_law();
  if (!Lean && watched) {
    const Dq i = machine_A();
    if (!law.calm(pair(i.d, i.q))) return Glide::left;
  }
  const bool plain_gates = !switches_broken && !switching_costs &&
                           (s.rotation != 0 || shaft_law.never_changes()) && s.open_phases == 0 &&
                           s.grounded < 0;
  const bool link_seen = !Lean && analog.follows_rest;
  Glide went = Glide::left;
  bool entered = false;  // the tally is in this mode
  bool linked = false;   // now->link holds in this mode
  ShapedMode shaped;
  if constexpr (Shaped) shaped = ShapedMode(*this, law);
  for (std::int64_t target_ps = std::min(way.until_ps, s.alarm_ps);;) {
    const double left = static_cast<double>(target_ps - s.time_ps) * 1e-12 - s.offset_s;
    if (left <= 0.0) {
      if (target_ps == s.alarm_ps) break;
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      if (way.next == way.end) {
        went = Glide::arrived;
        break;
      }
      const Pair before_u = loaded(&mode->u_alpha);
      const bool goes_on = glide_through(*way.next, plain_gates, *now);
      way.pass();
      target_ps = std::min(way.until_ps, s.alarm_ps);
      // Where a diode takes over from the switch beside it the link does not jump.
      const bool link_stays =
          goes_on && before_u[0] == mode->u_alpha && before_u[1] == mode->u_beta;
      linked = linked && link_stays;
      entered = entered && link_stays;
      if (entered) tally->mode = conduction_word(s);
      if (!Lean && watches_supply) {
        if (!goes_on) law = glide_law();
        if (supply_changes(law, *now)) law = glide_law();  // and with the jump a new link
      }
      if (!goes_on) [[unlikely]] {
        if (!(Shaped ? glides_in(*mode) : mode->freedom == 2) || watches_motion()) break;
        if (mode->shoot_S != law.shoot_S || s.rotation != law.rotation) law = glide_law();
      }
      if constexpr (Shaped) shaped = ShapedMode(*this, law);
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
    } else if constexpr (Shaped) {
      shaped_step(law, shaped, now->y, h, then->y);
    } else if constexpr (Lean) {
      glide_step<PlainLinkage>(law, now->y, h, limit, then->y);
    } else {
      glide_step(law, now->y, h, limit, then->y);
    }
    then->A = PhasePairs(then->y.i_A);
    then->link = plain_link(law, then->y.i_A, then->y.v_cap());
    const Pair margins =
        lesser(loaded(&mode->way[0]) * then->A.u_v - loaded(&mode->beyond_A[0]),
               pair(mode->way[2] * then->A.w - mode->beyond_A[2], then->y.omega() * law.stops));
    bool changes = below_zero(margins) != 0;
    if (Shaped && shaped.floating)
      changes = changes || shaped.floating->margin_V(then->y, then->link.bus_V) < 0.0;
    if (!Lean && watches_supply) changes = changes || law.watch.margin(then->link.bus_V) < 0.0;
    if (changes) [[unlikely]] {
      if (edge || then->y.omega() * law.stops < 0.0) break;
      h = glide_to_change(law, *now, h, limit, Shaped ? &shaped : nullptr, *then);
      if (h <= idle_step_s) break;
      then->link = plain_link(law, then->y.i_A, then->y.v_cap());
      ends_ps = 0;
    }
    if (!edge && (then->y.theta >= ahead || then->y.theta < behind)) break;
    if (then->link.bus_V < nearly_empty_V) break;
    if (!Lean && watched && !law.calm(then->y.i_dq_A)) break;

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
    if (link_seen && !linked) now->link = plain_link(law, now->y.i_A, now->y.v_cap());
    linked = true;
    const Tally::Sums sums = Tally::sums(now->A.u_v, now->A.w, then->A.u_v, then->A.w);
    if (observer && !tallied) {
      take(now->y);
      show(law, *now, *then, sums, h, ends_ps, *observer);
    } else {
      follow<Lean>(law, *now, *then, sums, h);
      if (tallied) enter<Lean>(*tally, law, *now, *then, sums, h);
      if (ends_ps != 0) {
        s.time_ps = ends_ps;
        s.offset_s = 0.0;
      } else {
        settle_time(h);
      }
    }
    std::swap(now, then);
    if (changes) went = Glide::changed;
    if (edge || changes) break;
  }
  take(now->y);
  return went;
}

/// A step that the observer itself looks at. ends_ps: 0 where it ends between two picoseconds.
[[gnu::noinline]] void Drive::Impl::show(const GlideLaw& law, const GlideEnd& from,
                                         const GlideEnd& to, const Tally::Sums& sums, double h,
                                         std::int64_t ends_ps, SegmentObserver& observer) noexcept {
  const Continuous begin = s;
  const AnalogState analog_before = s.analog;
  follow<false>(law, from, to, sums, h);
  take(to.y);
  settle_time(h);
  if (ends_ps != 0) {
    s.time_ps = ends_ps;
    s.offset_s = 0.0;
  }
  observer.on_segment({&begin, &s, h, &analog_before});
}

}  // namespace stillrotor::plant
