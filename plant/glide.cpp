// The inner loop of a plain drive between two gate edges: fast steps, phase-current sensors and the
// observer, nothing else. The step in which anything happens is left to advance() and all its
// questions.
#include "plant/flow.hpp"

namespace stillrotor::plant {

// As advance() would go, to target_ps at most. True: `y` is the end of the next step, not taken.
bool Drive::Impl::glide(std::int64_t target_ps, bool whole_steps_only, SegmentObserver* observer,
                        Point& y) noexcept {
  if (mode->freedom != 2 || watches_motion()) return false;
  const double ahead = std::min(s.edge_ahead_rad, two_pi),
               behind = std::max(s.edge_behind_rad, 0.0);
  Continuous begin = s;
  for (bool whole = false; !whole;) {
    const double left = static_cast<double>(target_ps - s.time_ps) * 1e-12 - s.offset_s;
    const double limit = step_limit();
    if (left <= 0.0 || (whole_steps_only && left < limit && target_ps != s.alarm_ps)) return false;
    whole = left <= limit;
    const double h = whole ? left : limit;
    y = rotor_step<true>(h);
    if (plain_margin(y) < 0.0 || y.theta >= ahead || y.theta < behind) {
      y.extra = s.extra;
      return true;
    }

    if (analog.follows_phases) follow_phase_currents(y, h);
    if (observer) {  // all but what the fast steps never move
      begin.time_ps = s.time_ps;
      begin.offset_s = s.offset_s;
      begin.i_alpha_A = s.i_alpha_A;
      begin.i_beta_A = s.i_beta_A;
      begin.v_cap_V = s.v_cap_V;
      begin.omega_m_rad_s = s.omega_m_rad_s;
      begin.theta_e_rad = s.theta_e_rad;
      begin.cos_e = s.cos_e;
      begin.sin_e = s.sin_e;
    }
    take(y);
    settle_time(h);
    if (ramping) move_ramps(h);
    if (observer) observer->on_segment({&begin, &s, h});
    if (whole) {
      s.time_ps = target_ps;
      s.offset_s = 0.0;
    }
  }
  return false;
}

}  // namespace stillrotor::plant
