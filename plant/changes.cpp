// What changes by itself between two gate edges: diodes; the supply's share stands in
// supply/supply_changes.cpp, the shaft's in motion.cpp.
#include <algorithm>

#include "plant/flow.hpp"

namespace stillrotor::plant {
// Terminal potentials to the negative rail. The machine asks for v_alphabeta; one conducting leg
// fixes what is common to all. With none, the sense dividers hold the star point at the rail, and
// what the gates offer clamps.
Phases Drive::Impl::terminals(const std::array<Conduction, 3>& leg, const Point& y,
                              const Flow& f) const noexcept {
  const auto of_leg = [&](std::size_t k) {
    return swings(leg[k])
               ? swing_terminal_V(k, y, f.bus_V)
               : law(leg[k]).s * f.bus_V + law(leg[k]).e_V - law(leg[k]).r_ohm * leg_current(k, y);
  };
  if (conducts(leg[0]) && conducts(leg[1]) && conducts(leg[2]))
    return {of_leg(0), of_leg(1), of_leg(2)};
  const TerminalLaw& t = f.machine;
  const AlphaBeta v{t.back_V.alpha + t.l_aa_H * f.di_dt.alpha + t.l_ab_H * f.di_dt.beta,
                    t.back_V.beta + t.l_ab_H * f.di_dt.alpha + t.l_bb_H * f.di_dt.beta};
  Phases out = phases(v);
  double common = 0.0;
  bool fixed = false;
  for (std::size_t k = 0; k < 3 && !fixed; ++k) {
    if (!conducts(leg[k])) continue;
    common = of_leg(k) - at(out, k);
    fixed = true;
  }
  if (!fixed) {
    double most = 1e300, least = -1e300;
    for (std::size_t k = 0; k < 3; ++k) {
      if (is_open(leg[k])) continue;
      const Window w = rest_window(k, f.bus_V);
      least = std::max(least, w.low_V - at(out, k));
      most = std::min(most, w.high_V - at(out, k));
    }
    if (least > -1e300) common = std::min(std::max(0.0, least), most);
  }
  out.U += common;
  out.V += common;
  out.W += common;
  return out;
}

// The least distance of anything watched from its change; negative: a change is due.
double Drive::Impl::margin(const Point& y, double into_step_s) const noexcept {
  double least = plain_margin(y);
  if (!watches_more() && !nearly_empty(y)) return least;
  const Drivers in = drivers(into_step_s);
  const Flow f = flow(*mode, y, in);
  if (mode->floating) {
    const std::array<Conduction, 3> leg = legs();
    const Phases v = terminals(leg, y, f);
    double above = 1e300, below = 1e300;
    const bool fixed = std::any_of(leg.begin(), leg.end(), conducts);
    for (std::size_t k = 0; k < 3; ++k) {
      if (leg[k] != Conduction::floating) continue;
      const Window w = fixed ? window(k, f.bus_V) : rest_window(k, f.bus_V);
      above = std::min(above, w.high_V - at(v, k));
      below = std::min(below, at(v, k) - w.low_V);
    }
    // Where nothing conducts the common potential gives way: only a pair begins.
    least = std::min(least, fixed ? std::min(above, below) : above + below);
  }
  if (mode->swings != 0) {
    for (std::size_t k = 0; k < 3; ++k) {
      if (!swings(s.leg[k])) continue;
      const double v = swing_terminal_V(k, y, f.bus_V);
      const Window w = window(k, f.bus_V);
      least = std::min(least, s.leg[k] == Conduction::swinging_down ? v - w.low_V : w.high_V - v);
    }
  }
  if (s.link_held || nearly_empty(y)) least = std::min(least, hold_margin(f.bus_V));
  if (watches_supply) least = std::min(least, supply_margin(y, in, f));
  if (driver.watches_current(s.driver)) least = std::min(least, trip_margin(y, f));
  if (watches_motion())
    least = std::min(least, motion_margin(shaft_point(y, f.machine.torque_Nm), shaft_inputs(in)));
  return least;
}

void Drive::Impl::use_legs(const std::array<Conduction, 3>& leg) noexcept {
  for (int k = 0; k < 3; ++k) s.leg[k] = leg[static_cast<std::size_t>(k)];
  const double before_S = mode == nullptr ? -1.0 : mode->shoot_S;
  mode = &mode_of(leg, grounded_mode);
  const bool other_bus = mode->shoot_S != before_S;
  if (other_bus) refresh_bus();
}

// Leaves in the currents only what the mode lets flow: what a leg that has just stopped conducting
// still carries is rounding (below zero_A).
void Drive::Impl::keep_to_freedom() noexcept {
  if (mode->freedom == 2) return;
  constexpr double rounding_A = 1e-12;
  const double along =
      mode->d_alpha * s.i_alpha_A + mode->d_beta * s.i_beta_A;  // d is 0 without freedom
  if (std::abs(s.i_alpha_A - along * mode->d_alpha) + std::abs(s.i_beta_A - along * mode->d_beta) <
      rounding_A)
    return;
  s.i_alpha_A = along * mode->d_alpha;
  s.i_beta_A = along * mode->d_beta;
}

void Drive::Impl::settle_modes() noexcept {
  // Only a current that has passed zero ends (the search lands on that side); others that stand at
  // zero with it leave together with it, for one alone would pull them away.
  int ended = 0;
  std::size_t ended_leg = 0;
  bool passed = false;
  for (std::size_t k = 0; k < 3; ++k) {
    const LegLaw& one = law(s.leg[k]);
    if (!one.one_way) continue;
    const double current = one.way * leg_current(k, point());
    passed = passed || current < 0.0;
    if (current > zero_A) continue;
    ++ended;
    ended_leg = k;
  }
  if (!passed) ended = 0;
  if (ended == 1) {
    const AlphaBeta n = leg_axis[ended_leg];
    const double current = leg_current(ended_leg, point());
    s.i_alpha_A -= current * n.alpha;
    s.i_beta_A -= current * n.beta;
  } else if (ended > 1) {
    s.i_alpha_A = s.i_beta_A = 0.0;
  }
  settle_jump();
}

void Drive::Impl::settle_jump() noexcept {
  choose_legs();
  choose_supply();
  choose_motion();
  look_after_driver();
}

}  // namespace stillrotor::plant
