// Time: steps between instants, the search for what happens inside them, sensor edges.
#include "plant/first_due.hpp"
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

constexpr double seconds_per_ps = 1e-12;
constexpr double ps_per_second = 1e12;

/// Power [W] that turns into heat: machine, switches and diodes, link, supply or its regulator.
double heat_W(const DriveParameters& par, const DriveState& s, const LegLaws& laws,
              const BusLaw& bus, bool regulated, const Point& y, const Flow& f,
              double supply_V) noexcept {
  const Phases i = phases({y.i_alpha, y.i_beta});
  const double leg_A[3] = {i.U, i.V, i.W};
  double sum = f.machine.heat_W[0] + f.machine.heat_W[1] + f.machine.heat_W[2];
  for (int k = 0; k < 3; ++k) {
    sum += conduction_heat_W(laws[static_cast<std::size_t>(s.leg[k])], leg_A[k]);
  }
  const double cap_A = f.supply_A - f.legs_A - bus.across_S * f.bus_V - bus.across_A;
  sum += (bus.across_S * f.bus_V + bus.across_A) * f.bus_V +
         par.dc_link.series_resistance_ohm * cap_A * cap_A;
  // Across a cable's inductance stands the rest: it stores. What a supply's source voltage is below
  // the set one, its regulator turns into heat.
  const double source_V = regulated ? y.extra.supply_inner : supply_V;
  return sum + (bus.cable_share > 0.0 ? supply_V - source_V + s.source_ohm * f.supply_A
                                      : supply_V - f.bus_V) *
                   f.supply_A;
}

Extra added(Extra x, double h, const Extra& rate) noexcept {
  for (std::size_t k = 0; k < inner_states; ++k) x.inner[k] += h * rate.inner[k];
  x.i_cable_A += h * rate.i_cable_A;
  x.supply_inner += h * rate.supply_inner;
  x.twist_rad += h * rate.twist_rad;
  x.omega_2_rad_s += h * rate.omega_2_rad_s;
  for (std::size_t k = 0; k < 3; ++k) x.leg_swing_V[k] += h * rate.leg_swing_V[k];
  return x;
}

/// Only where windings are shorted.
void add_shorts(Extra& x, double h, const Extra& rate) noexcept {
  for (std::size_t k = 0; k < short_count; ++k) x.short_A[k] += h * rate.short_A[k];
}

}  // namespace

// RK4 or Heun in all states; cosine and sine follow theta by rotation.
template <bool Ledger, bool Extras, Drive::Impl::Order How>
Point Drive::Impl::step(double h, double energies_J[5]) const noexcept {
  const ConductionMode& m = *mode;
  const Point y0 = point();
  const Drivers d0 = drivers(0.0);

  const auto from_start = [&](const Flow& k, double omega_stage, double dt) {
    Point y;
    y.i_alpha = y0.i_alpha + dt * k.di_dt.alpha;
    y.i_beta = y0.i_beta + dt * k.di_dt.beta;
    y.v_cap = y0.v_cap + dt * k.dv_dt;
    y.omega = y0.omega + dt * k.domega_dt;
    const double turn = p * omega_stage * dt;
    y.theta = y0.theta + turn;
    rotate(turn, y0.cos_e, y0.sin_e, y.cos_e, y.sin_e);
    y.extra = Extras ? added(y0.extra, dt, k.extra_dt) : y0.extra;
    if (Extras && s.machine.shorted) [[unlikely]]
      add_shorts(y.extra, dt, k.extra_dt);
    return y;
  };
  const Flow k1 = flow<Extras>(m, y0, d0);
  if constexpr (How == Order::third) {
    const double to_1 = h / 3.0, to_2 = 2.0 * to_1;
    const Point y1 = from_start(k1, y0.omega, to_1);
    const Flow k2 = flow<Extras>(m, y1, ramping ? drivers(to_1) : d0);
    const Point y2 = from_start(k2, y1.omega, to_2);
    const Flow k3 = flow<Extras>(m, y2, ramping ? drivers(to_2) : d0);
    const double a = 0.25 * h, b = 0.75 * h;
    Point y;
    y.i_alpha = y0.i_alpha + (a * k1.di_dt.alpha + b * k3.di_dt.alpha);
    y.i_beta = y0.i_beta + (a * k1.di_dt.beta + b * k3.di_dt.beta);
    y.v_cap = y0.v_cap + (a * k1.dv_dt + b * k3.dv_dt);
    y.omega = y0.omega + (a * k1.domega_dt + b * k3.domega_dt);
    y.extra = Extras ? added(added(y0.extra, a, k1.extra_dt), b, k3.extra_dt) : y0.extra;
    if (Extras && s.machine.shorted) [[unlikely]] {
      add_shorts(y.extra, a, k1.extra_dt);
      add_shorts(y.extra, b, k3.extra_dt);
    }
    y.legs_C = a * k1.legs_A + b * k3.legs_A;
    const double turn = p * (a * y0.omega + b * y2.omega);
    y.theta = y0.theta + turn;
    rotate(turn, y0.cos_e, y0.sin_e, y.cos_e, y.sin_e);
    return y;
  }
  const Drivers d2 = ramping ? drivers(h) : d0, d1 = ramping ? drivers(0.5 * h) : d0;
  const Point y1 = from_start(k1, y0.omega, 0.5 * h);
  const Flow k2 = flow<Extras>(m, y1, d1);
  const Point y2 = from_start(k2, y1.omega, 0.5 * h);
  const Flow k3 = flow<Extras>(m, y2, d1);
  const Point y3 = from_start(k3, y2.omega, h);
  const Flow k4 = flow<Extras>(m, y3, d2);

  const double w = h / 6.0;
  Point y;
  y.i_alpha =
      y0.i_alpha + w * (k1.di_dt.alpha + 2.0 * (k2.di_dt.alpha + k3.di_dt.alpha) + k4.di_dt.alpha);
  y.i_beta =
      y0.i_beta + w * (k1.di_dt.beta + 2.0 * (k2.di_dt.beta + k3.di_dt.beta) + k4.di_dt.beta);
  y.v_cap = y0.v_cap + w * (k1.dv_dt + 2.0 * (k2.dv_dt + k3.dv_dt) + k4.dv_dt);
  y.omega = y0.omega + w * (k1.domega_dt + 2.0 * (k2.domega_dt + k3.domega_dt) + k4.domega_dt);
  y.extra = y0.extra;
  if constexpr (Extras)
    y.extra = added(
        added(added(added(y0.extra, w, k1.extra_dt), 2.0 * w, k2.extra_dt), 2.0 * w, k3.extra_dt),
        w, k4.extra_dt);
  if (Extras && s.machine.shorted) [[unlikely]] {
    add_shorts(y.extra, w, k1.extra_dt);
    add_shorts(y.extra, 2.0 * w, k2.extra_dt);
    add_shorts(y.extra, 2.0 * w, k3.extra_dt);
    add_shorts(y.extra, w, k4.extra_dt);
  }
  y.legs_C = w * (k1.legs_A + 2.0 * (k2.legs_A + k3.legs_A) + k4.legs_A);
  const double turn = w * p * (y0.omega + 2.0 * (y1.omega + y2.omega) + y3.omega);
  y.theta = y0.theta + turn;
  rotate(turn, y0.cos_e, y0.sin_e, y.cos_e, y.sin_e);
  const double unit = 1.5 - 0.5 * (y.cos_e * y.cos_e + y.sin_e * y.sin_e);
  y.cos_e *= unit;
  y.sin_e *= unit;

  if constexpr (Ledger) {
    const auto heat = [&](const Point& at, const Flow& k, const Drivers& d) {
      return heat_W(par, s, laws, bus, supply_law.regulated, at, k, d.supply_V);
    };
    energies_J[0] =
        w * (d0.supply_V * k1.supply_A + 2.0 * d1.supply_V * (k2.supply_A + k3.supply_A) +
             d2.supply_V * k4.supply_A);
    energies_J[1] = w * (k1.machine.torque_Nm * y0.omega +
                         2.0 * (k2.machine.torque_Nm * y1.omega + k3.machine.torque_Nm * y2.omega) +
                         k4.machine.torque_Nm * y3.omega);
    energies_J[2] =
        w * (heat(y0, k1, d0) + 2.0 * (heat(y1, k2, d1) + heat(y2, k3, d1)) + heat(y3, k4, d2));
    energies_J[3] = energies_J[4] = 0.0;
    const auto add_shaft = [&](const Point& at, const Flow& k, const Drivers& d, double weight) {
      const ShaftPoint point_at = shaft_point(at, k.machine.torque_Nm);
      const ShaftMode now = shaft_mode();
      const ShaftPowers powers = shaft_law.powers(point_at, shaft_inputs(d), now,
                                                  shaft_law.rates(point_at, shaft_inputs(d), now));
      energies_J[3] += weight * powers.heat_W;
      energies_J[4] += weight * powers.load_W;
    };
    add_shaft(y0, k1, d0, w);
    add_shaft(y1, k2, d1, 2.0 * w);
    add_shaft(y2, k3, d1, 2.0 * w);
    add_shaft(y3, k4, d2, w);
  }
  return y;
}
// map_step.cpp falls back on it
template Point Drive::Impl::step<false, false, Drive::Impl::Order::third>(double,
                                                                          double*) const noexcept;
template Point Drive::Impl::step<false, false, Drive::Impl::Order::fourth>(double,
                                                                           double*) const noexcept;

double Drive::Impl::step_limit() const noexcept {
  double limit = plain_step_limit(s.omega_m_rad_s);
  // A leg's two output capacitances ring with the windings, and quicker beside a short.
  if (mode->swings != 0)
    limit = std::min(limit, 0.25 * std::sqrt(2.0 * par.bridge.output_capacitance_F *
                                             machine.leg_inductance_min_H(s.machine)));
  // A short's current that comes through a terminal's way to ground meets that resistance, too.
  // What is quicker than a nanosecond is kept stable, not followed.
  if (s.machine.shorted && s.grounded >= 0 && s.leg[s.grounded] == Conduction::grounded)
    limit = std::min(
        limit,
        std::max(1e-9, machine.short_step_s(s.machine, around.leg_ohm(par.bridge) + s.ground_ohm)));
  // Magnets that fall are put right after each step, which is of first order.
  if (watched && s.magnets_fell_ps == s.time_ps && s.machine.magnet_left < 1.0) limit *= 0.125;
  return rigid ? limit : std::min(limit, shaft_law.step_max_s(s.extra.omega_2_rad_s, shaft_mode()));
}

double Drive::Impl::locate(double h, Point& at) const noexcept {
  Point y;
  return first_due(
      h, margin(at, h), margin(point(), 0.0),
      [&](double t) {
        y = step(t);
        return margin(y, t);
      },
      [&] { at = y; });
}

// A line that time moves is due by itself (absolute_angle.next_ps); advance() hands it out.
void Drive::Impl::ring() noexcept {
  ring_supply();
  if (warms) ring_heat();
  if (s.switches.end_pulses(s.time_ps)) switches_changed();
  if (driver.acts(s.driver)) {
    driver.ring(s.driver, s.time_ps);
    follow_driver();
  }
  set_alarm();
}

void Drive::Impl::set_alarm() noexcept {
  s.alarm_ps = std::min({next_supply_alarm_ps(), s.warming.next_ps, s.switches.next_end_ps()});
  if (driver.acts(s.driver)) s.alarm_ps = std::min(s.alarm_ps, driver.next_alarm_ps(s.driver));
  if (s.absolute_angle.next_ps > s.time_ps)
    s.alarm_ps = std::min(s.alarm_ps, s.absolute_angle.next_ps);
}

// The begin of a step of that length. False: somebody has to look at it.
bool Drive::Impl::may_tally(Tally& tally, double h) const noexcept {
  return tally.left_s(s.time_ps, s.offset_s) > h + Tally::same_instant_s &&
         enter_mode(tally, pair(s.i_alpha_A, s.i_beta_A),
                    [this] { return probe_link(s, ramping ? drivers(0.0) : at_rest); });
}

void Drive::Impl::tally_step(Tally& tally, const Point& begin, const Point& end,
                             double h) const noexcept {
  tally.warm(warms ? latest_heat : step_heat(begin, end, h).all);
  tally.add(ProbePairs(probe(s)), h);
  tally.end_at(s.i_alpha_A, s.i_beta_A);
}

/// To a step's end, with all that follows the steps.
[[gnu::always_inline]] inline void Drive::Impl::move_to(const Point& y, double h) noexcept {
  if (analog.follows_phases)
    follow_phase_currents(phases({s.i_alpha_A, s.i_beta_A}), phases({y.i_alpha, y.i_beta}), h);
  if (analog.follows_rest) follow_other_sensors(y, h);
  if (follows_charge) follow_battery(y, h);
  if (warms) follow_heat(point(), y, h);
  take(y);
  if (!fast || mode->swings != 0) s.extra = y.extra;
  if (!fast && !s.apart) s.extra.omega_2_rad_s = s.omega_m_rad_s;
  settle_time(h);
  if (ramping) move_ramps(h);
}

void Drive::Impl::accept(const Point& y, double h, SegmentObserver* observer) noexcept {
  if (!observer) {
    move_to(y, h);
  } else if (observer->tally && may_tally(*observer->tally, h)) {
    const Point from = point();
    move_to(y, h);
    tally_step(*observer->tally, from, y, h);
  } else {
    const Continuous begin = s;
    const AnalogState analog_before = s.analog;
    move_to(y, h);
    observer->on_segment({&begin, &s, h, &analog_before});
  }

  if (s.theta_e_rad >= two_pi || s.theta_e_rad < 0.0) {
    const double turns = std::floor(s.theta_e_rad / two_pi);
    s.theta_e_rad -= turns * two_pi;
    s.electrical_turns += static_cast<std::int64_t>(turns);
    note_turn();
    s.cos_e = std::cos(s.theta_e_rad);  // once a turn: takes out what rotation has gathered
    s.sin_e = std::sin(s.theta_e_rad);
    position.find_thresholds(s);
  }
}

// Steps are as long as the mode allows, the last one as long as is left: they depend on where the
// stretch began (the last gate edge, read or sensor edge) and not on how often it was asked to go
// on.
Drive::Stop Drive::Impl::advance(Way& way, bool whole_steps_only,
                                 SegmentObserver* observer) noexcept {
  const auto beyond = [this](double theta) {
    return theta >= s.edge_ahead_rad || theta < s.edge_behind_rad;
  };
  const auto edge_due = [&] {
    return beyond(s.theta_e_rad) || s.absolute_angle.next_ps <= s.time_ps || fault_line_moves();
  };
  if (way.until_ps < s.time_ps) return {};
  int idle_events = 0;
  for (;;) {
    std::int64_t target_ps = 0;
    if (beyond(s.theta_e_rad)) {
      if (s.offset_s <= 0.0) return {true, position.flip(s)};
      target_ps = s.time_ps + 1;
    } else if (s.absolute_angle.next_ps <= s.time_ps && s.offset_s <= 0.0) {
      return {true, pass_absolute_angle()};
    } else if (fault_line_moves()) {
      return {true, move_fault_line()};
    } else {
      if (may_glide()) {
        const Glide went = glide(way, whole_steps_only, observer);
        if (went == Glide::arrived) return {};
        if (went == Glide::changed) {
          settle_modes();
          idle_events = 0;
          continue;
        }
        if (beyond(s.theta_e_rad)) continue;
      }
      target_ps = std::min(way.until_ps, s.alarm_ps);
    }
    const double left = static_cast<double>(target_ps - s.time_ps) * seconds_per_ps - s.offset_s;
    if (left <= 0.0) {
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      if (target_ps == s.alarm_ps) ring();
      if (target_ps == way.until_ps && !edge_due() && !pass_change(way)) return {};
      continue;
    }
    const double limit = step_limit();
    if (whole_steps_only && left < limit && target_ps != s.alarm_ps) return {};
    double h = std::min(left, limit);
    bool whole = left <= limit;

    if (follows_charge) steer_battery();
    Point y = h < short_share * limit ? step<Order::third>(h) : step(h);
    bool event = false;
    if (watches_more() || nearly_empty(y) ? margin(y, h) < 0.0 : plain_margin(y) < 0.0) {
      h = locate(h, y);
      event = true;
      whole = false;
    }
    if (beyond(y.theta) && !beyond(s.theta_e_rad)) {
      // Land on the first picosecond at which the angle has reached the threshold.
      const double at = crossing(y, h);
      const std::int64_t edge_ps =
          s.time_ps + static_cast<std::int64_t>(std::ceil((s.offset_s + at) * ps_per_second));
      for (std::int64_t ps = edge_ps; ps <= edge_ps + 2 && ps <= target_ps; ++ps) {
        const double to_edge = static_cast<double>(ps - s.time_ps) * seconds_per_ps - s.offset_s;
        if (to_edge <= 0.0) continue;
        if (to_edge > h) break;
        const Point there = step(to_edge);
        if (!beyond(there.theta)) continue;
        y = there;
        h = to_edge;
        event = false;
        whole = true;
        target_ps = ps;
        break;
      }
    }

    if (ledger) {
      double energies[5];
      step<true, true, Order::fourth>(h, energies);
      if (!follows_charge) s.supplied_J += energies[0];
      s.mechanical_J += energies[1];
      s.dissipated_J += energies[2];
      s.shaft_heat_J += energies[3];
      s.load_J += energies[4];
    }
    accept(y, h, observer);
    if (watched && !event) watch_machine(h);
    if (whole) {
      s.time_ps = target_ps;
      s.offset_s = 0.0;
      if (target_ps == s.alarm_ps) ring();
      if (target_ps == way.until_ps && !edge_due() && !pass_change(way)) return {};
    }
    if (event) {
      settle_modes();
      if (watched) watch_machine(h);  // a current that has ended takes over nothing any more
      // Changes that follow one another without any time between them must come to an end.
      idle_events = h > idle_step_s ? 0 : idle_events + 1;
      if (idle_events > 8) {
        const double nudge = std::min(left, 1e-12);
        accept(step(nudge), nudge, observer);
        settle_modes();
        ++forced_steps;
        idle_events = 0;
      }
    }
  }
}

// theta is smooth in a step: cubic Hermite in angle and speed, Newton on it.
double Drive::Impl::crossing(const Point& end, double h) const noexcept {
  const double target = end.theta >= s.edge_ahead_rad ? s.edge_ahead_rad : s.edge_behind_rad;
  const double w0 = p * s.omega_m_rad_s * h, w1 = p * end.omega * h;
  const double rise = end.theta - s.theta_e_rad;
  const double a = w0 + w1 - 2.0 * rise, b = 3.0 * rise - 2.0 * w0 - w1;
  double low = 0.0, high = 1.0;
  double x = (target - s.theta_e_rad) / rise;
  for (int tries = 0; tries < 50 && high - low > 1e-15; ++tries) {
    if (!(x > low && x < high)) x = 0.5 * (low + high);
    const double f = s.theta_e_rad + x * (w0 + x * (b + x * a)) - target;
    const bool past = rise > 0.0 ? f >= 0.0 : f < 0.0;
    (past ? high : low) = x;
    const double slope = w0 + x * (2.0 * b + 3.0 * x * a);
    const double next = x - f / slope;
    if (std::abs(next - x) < 1e-13) return std::clamp(next, 0.0, 1.0) * h;
    x = next;
  }
  return high * h;
}

double Drive::Impl::voltage_bound_V(const Point& now) const noexcept {
  const double i_now = std::abs(s.i_alpha_A) + std::abs(s.i_beta_A);
  // A supply that rings with its cable swings as far beyond as it came from below; what flows in
  // the cable already adds its share.
  const double source = std::max(std::abs(s.supply_V.value), std::abs(source_V(now, drivers(0.0))));
  const double knee = std::max(par.bridge.diode_voltage_V, par.bridge.switch_knee_V);
  return 2.0 * (std::abs(s.v_cap_V) + source + std::abs(s.supply.ripple_V) + knee +
                std::abs(s.extra.i_cable_A) * cable_wave_ohm) +
         machine.back_bound_V(now, i_now, s.machine);
}

// Travel in time t is bounded by omega t + 1/2 alpha t^2 with a bound on acceleration over the
// whole interval: torque from the largest current that full voltage across the smaller inductance
// allows.
std::int64_t Drive::Impl::quiet_until(std::int64_t limit_ps, Edges edges) const noexcept {
  limit_ps = fault_line_quiet_ps(std::min(limit_ps, s.absolute_angle.next_ps));
  if (limit_ps <= s.time_ps) return s.time_ps;
  const bool all = edges == Edges::all;
  const double ahead = (all ? s.edge_ahead_rad : s.hall_ahead_rad) - s.theta_e_rad,
               behind = s.theta_e_rad - (all ? s.edge_behind_rad : s.hall_behind_rad);
  if (ahead <= 0.0 || behind < 0.0) return s.time_ps;  // whichever way it turns
  const double span = static_cast<double>(limit_ps - s.time_ps) * seconds_per_ps;
  double alpha = std::abs(s.held_speed_rad_s.rate_per_s);
  if (!shaft_law.imposes(shaft_mode())) {
    const double i_now = std::abs(s.i_alpha_A) + std::abs(s.i_beta_A);
    const Point now = point();
    const double volts = voltage_bound_V(now);
    const double i_most = i_now + span * volts / machine.inductance_min_H();
    const double torque = machine.torque_bound_Nm(now, i_most, span, s.machine) +
                          2.0 * machine.iron_bound_Nm(s.omega_m_rad_s, i_most, s.machine);
    alpha = acceleration_bound(torque, span);
  }
  const double a = p * alpha;
  const auto reach = [a](double distance, double speed) {
    if (distance <= 0.0) return 0.0;
    const double root = std::sqrt(speed * speed + 2.0 * a * distance);
    const double below = speed + root;
    return below > 0.0 ? 2.0 * distance / below : 1e9;
  };
  // A rotor that cannot come to rest in the span cannot turn back in it either.
  const double speed_e = p * s.omega_m_rad_s;
  const bool may_turn_back = std::abs(speed_e) <= a * span;
  double quiet = span;
  if (speed_e >= 0.0 || may_turn_back) quiet = std::min(quiet, reach(ahead, speed_e));
  if (speed_e < 0.0 || may_turn_back) quiet = std::min(quiet, reach(behind, -speed_e));
  if (quiet >= span) return limit_ps;
  return s.time_ps + std::max<std::int64_t>(
                         0, static_cast<std::int64_t>(quiet * ps_per_second * (1.0 - 1e-12)) - 1);
}

}  // namespace stillrotor::plant
