// The inner loop of a plain drive: fast steps, changes of gates, phase-current sensors and the
// observer, nothing else. The step in which anything happens is left to advance() and all its
// questions.
#include "plant/flow.hpp"
#include "plant/glide_step.hpp"

namespace stillrotor::plant {

inline Drive::Impl::Glided Drive::Impl::glide_step(double h) const noexcept {
  switch (mode->legs) {
    case LegsDiffer::no:
      return glide_step<LegsDiffer::no>(h);
    case LegsDiffer::in_knees:
      return glide_step<LegsDiffer::in_knees>(h);
    case LegsDiffer::in_ohms:
      break;
  }
  return glide_step<LegsDiffer::in_ohms>(h);
}

// Without a cable and a supply of its own mind.
[[gnu::always_inline]] inline LinkProbe Drive::Impl::plain_link(double alpha_A, double beta_A,
                                                                double v_cap_V) const noexcept {
  const double along_A = mode->u_alpha * alpha_A + mode->u_beta * beta_A;
  const double bus_V = bus.from_cap * v_cap_V + bus.per_along_ohm * along_A +
                       bus.from_supply * at_rest.supply_V + bus.constant_V;
  return {bus_V, bus.per_supply_S * (at_rest.supply_V - bus_V) + bus.constant_A,
          1.5 * along_A + mode->shoot_S * bus_V};
}

// The begin of a step of that length. False: somebody has to look at it.
inline bool Drive::Impl::enter(Tally& tally, double h) const noexcept {
  if (tally.left_s(s.time_ps, s.offset_s) <= h + Tally::same_instant_s) return false;
  const std::uint32_t now = conduction_word(s);
  if (now == tally.mode) return true;
  if (!tally.continues(s.i_alpha_A, s.i_beta_A)) return false;
  tally.enter_link(plain_link(s.i_alpha_A, s.i_beta_A, s.v_cap_V));
  tally.mode = now;
  return true;
}

/// At way.until_ps, as pass_change(): of a driver that passes on what it is told.
inline void Drive::Impl::glide_through(const GateChange& change) noexcept {
  const auto mask = static_cast<std::uint8_t>(1U << static_cast<int>(change.which));
  const auto asked = static_cast<std::uint8_t>(change.on ? s.asked | mask : s.asked & ~mask);
  if (switches_broken || switching_costs || s.rotation == 0) return switch_gates(asked);
  s.asked = asked;
  if (asked == s.gates) return;
  s.gates = asked;
  choose_legs();
}

// As advance() would go, at most to way.until_ps.
void Drive::Impl::glide(Way& way, bool whole_steps_only, SegmentObserver* observer) noexcept {
  Tally* const tally = observer ? observer->tally : nullptr;
  const double ahead = std::min(s.edge_ahead_rad, two_pi),
               behind = std::max(s.edge_behind_rad, 0.0);
  Phases now_A = phases({s.i_alpha_A, s.i_beta_A});
  while (mode->freedom == 2 && !watches_motion()) {
    const std::int64_t target_ps = std::min(way.until_ps, s.alarm_ps);
    const double left = static_cast<double>(target_ps - s.time_ps) * 1e-12 - s.offset_s;
    if (left <= 0.0) {
      if (target_ps == s.alarm_ps || way.next == way.end) return;
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      glide_through(*way.next);
      if (++way.next != way.end) way.until_ps = std::max(way.next->at_ps, way.until_ps);
      continue;
    }
    const double limit = step_limit();
    if (whole_steps_only && left < limit && target_ps != s.alarm_ps) return;
    const bool whole = left <= limit;
    const double h = whole ? left : limit;
    const double turned = s.theta_e_rad + p * h * s.omega_m_rad_s;  // about
    if (turned >= ahead || turned < behind) return;
    const Glided y = glide_step(h);
    const Phases then_A = phases({y.i_alpha, y.i_beta});
    if (plain_margin(then_A, y.omega) < 0.0 || y.theta >= ahead || y.theta < behind) return;

    const bool tallied = tally && enter(*tally, h);
    const double omega_before = s.omega_m_rad_s;
    if (observer && !tallied) {
      show(y, then_A, now_A, h, whole ? target_ps : 0, *observer);
    } else {
      if (analog.follows_phases) follow_phase_currents(now_A, then_A, h);
      take(y);
      if (whole) {
        s.time_ps = target_ps;
        s.offset_s = 0.0;
      } else {
        settle_time(h);
      }
    }
    if (tallied) {
      const LinkProbe link = plain_link(y.i_alpha, y.i_beta, y.v_cap);
      tally->warm(
          plain_heat({now_A, omega_before, tally->end.bus_V}, {then_A, y.omega, link.bus_V}, h));
      tally->add({then_A, link.bus_V, link.supply_A, link.bridge_A, y.torque_Nm}, h);
      tally->end_at(y.i_alpha, y.i_beta);
    }
    now_A = then_A;
  }
}

/// A step that the observer itself looks at. ends_ps: 0 where it ends between two picoseconds.
[[gnu::noinline]] void Drive::Impl::show(const Glided& y, const Phases& then_A, const Phases& now_A,
                                         double h, std::int64_t ends_ps,
                                         SegmentObserver& observer) noexcept {
  const Continuous begin = s;
  const AnalogState analog_before = s.analog;
  if (analog.follows_phases) follow_phase_currents(now_A, then_A, h);
  take(y);
  settle_time(h);
  if (ends_ps != 0) {
    s.time_ps = ends_ps;
    s.offset_s = 0.0;
  }
  observer.on_segment({&begin, &s, h, &analog_before});
}

}  // namespace stillrotor::plant
