// What changes by itself between two gate edges: diodes and friction; the supply's share stands in
// supply/supply_changes.cpp.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

// Below this a leg carries no current. The search for a diode's zero ends within 1e-9 A of it.
constexpr double zero_A = 5e-9;

double leg_current(int k, double i_alpha, double i_beta) noexcept {
  const AlphaBeta n = leg_axis[static_cast<std::size_t>(k)];
  return n.alpha * i_alpha + n.beta * i_beta;
}

double& at(Phases& x, int k) noexcept { return k == 0 ? x.U : k == 1 ? x.V : x.W; }

}  // namespace

// Terminal potentials to the negative rail. The machine asks for v_alphabeta; one conducting leg
// fixes what is common to all. With none, the sense dividers hold the star point at the rail, and
// the diodes clamp.
Phases Drive::Impl::terminals(const std::array<Conduction, 3>& leg, const Point& y,
                              const Flow& f) const noexcept {
  const TerminalLaw& t = f.machine;
  const AlphaBeta v{t.back_V.alpha + t.l_aa_H * f.di_dt.alpha + t.l_ab_H * f.di_dt.beta,
                    t.back_V.beta + t.l_ab_H * f.di_dt.alpha + t.l_bb_H * f.di_dt.beta};
  Phases out = phases(v);
  double common = 0.0;
  bool fixed = false;
  for (int k = 0; k < 3 && !fixed; ++k) {
    if (!conducts(leg[static_cast<std::size_t>(k)])) continue;
    const LegLaw& at_k = law(leg[static_cast<std::size_t>(k)]);
    common =
        at_k.s * f.bus_V + at_k.e_V - at_k.r_ohm * leg_current(k, y.i_alpha, y.i_beta) - at(out, k);
    fixed = true;
  }
  if (!fixed) {
    double most = -1e300, least = 1e300;
    for (int k = 0; k < 3; ++k) {
      if (is_open(leg[static_cast<std::size_t>(k)])) continue;
      most = std::max(most, at(out, k));
      least = std::min(least, at(out, k));
    }
    if (most >= least) {
      const double vf = par.bridge.diode_voltage_V;
      common = std::min(std::max(0.0, -vf - least), f.bus_V + vf - most);
    }
  }
  out.U += common;
  out.V += common;
  out.W += common;
  return out;
}

// The least distance of anything watched from its change; negative: a change is due.
double Drive::Impl::margin(const Point& y, double into_step_s) const noexcept {
  double least = plain_margin(y);
  if (!watches_more()) return least;
  const Drivers in = drivers(into_step_s);
  const Flow f = flow(*mode, y, in);
  if (mode->floating) {
    const double vf = par.bridge.diode_voltage_V;
    Phases v = terminals(legs(), y, f);
    double most = -1e300, lowest = 1e300;
    bool fixed = false;
    for (int k = 0; k < 3; ++k) {
      fixed = fixed || conducts(s.leg[k]);
      if (s.leg[k] != Conduction::floating) continue;
      most = std::max(most, at(v, k));
      lowest = std::min(lowest, at(v, k));
    }
    least = std::min(least, fixed ? std::min(lowest + vf, f.bus_V + vf - most)
                                  : f.bus_V + 2.0 * vf - (most - lowest));
  }
  if (watches_supply) least = std::min(least, supply_margin(y, in, f));
  if (held_by_friction())
    least = std::min(least, coulomb_Nm - std::abs(f.machine.torque_Nm - in.load_Nm));
  return least;
}

void Drive::Impl::use_legs(const std::array<Conduction, 3>& leg) noexcept {
  for (int k = 0; k < 3; ++k) s.leg[k] = leg[static_cast<std::size_t>(k)];
  const ConductionMode& next = modes[static_cast<std::size_t>(mode_index(leg[0], leg[1], leg[2]))];
  const bool other_bus = mode == nullptr || next.shoot_S != mode->shoot_S;
  mode = &next;
  if (other_bus) refresh_bus();
}

// Leaves in the currents only what the mode lets flow: what a leg that has just stopped conducting
// still carries is rounding (below zero_A).
void Drive::Impl::keep_to_freedom() noexcept {
  if (mode->freedom == 2) return;
  const double along =
      mode->d_alpha * s.i_alpha_A + mode->d_beta * s.i_beta_A;  // d is 0 without freedom
  s.i_alpha_A = along * mode->d_alpha;
  s.i_beta_A = along * mode->d_beta;
}

// Gated legs are fixed; an ungated leg that carries current keeps the diode of its sign; the others
// start floating and are given their diodes where the terminal potential asks for it.
void Drive::Impl::choose_legs() noexcept {
  if (s.open_phases == 0 && gated[s.gates].all) {
    use_legs(gated[s.gates].leg);
    return;
  }
  std::array<Conduction, 3> leg{};
  bool free[3] = {};
  bool any_free = false;
  for (int k = 0; k < 3; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const unsigned gates = (s.gates >> (2 * k)) & 3U;
    leg[i] = by_gates(gates);
    if ((s.open_phases >> k) & 1U) {
      leg[i] = gates == 3U ? Conduction::open_shorted : Conduction::open;
    } else if (gates == 0U) {
      const double current = leg_current(k, s.i_alpha_A, s.i_beta_A);
      free[k] = std::abs(current) <= zero_A;
      any_free = any_free || free[k];
      if (!free[k]) leg[i] = current > 0.0 ? Conduction::low_diode : Conduction::high_diode;
    }
  }
  if (!any_free) {
    use_legs(leg);
    keep_to_freedom();
    return;
  }

  use_legs(leg);  // so that the bus is the one of these gates
  const Point y = point();
  const Drivers in = drivers(0.0);
  const double vf = par.bridge.diode_voltage_V;
  const auto mode_of = [this](const std::array<Conduction, 3>& l) -> const ConductionMode& {
    return modes[static_cast<std::size_t>(mode_index(l[0], l[1], l[2]))];
  };
  const auto none_conducts = [](const std::array<Conduction, 3>& l) {
    return !conducts(l[0]) && !conducts(l[1]) && !conducts(l[2]);
  };
  /// Positive: how far the worst floating terminal stands outside its diodes' reach.
  const auto worst = [&](const std::array<Conduction, 3>& l, int& which, bool& to_high,
                         int& other) {
    const ConductionMode& m = mode_of(l);
    const Flow f = flow(m, y, in);
    Phases v = terminals(l, y, f);
    const double bus_V = f.bus_V;
    which = other = -1;
    double excess = 0.0;
    if (none_conducts(l)) {
      int top = -1, bottom = -1;
      for (int k = 0; k < 3; ++k) {
        if (l[static_cast<std::size_t>(k)] != Conduction::floating) continue;
        if (top < 0 || at(v, k) > at(v, top)) top = k;
        if (bottom < 0 || at(v, k) < at(v, bottom)) bottom = k;
      }
      if (top >= 0 && top != bottom && at(v, top) - at(v, bottom) > bus_V + 2.0 * vf) {
        which = top;
        to_high = true;
        other = bottom;
        excess = at(v, top) - at(v, bottom) - bus_V - 2.0 * vf;
      }
      return excess;
    }
    for (int k = 0; k < 3; ++k) {
      if (l[static_cast<std::size_t>(k)] != Conduction::floating) continue;
      const double above = at(v, k) - bus_V - vf, below = -vf - at(v, k);
      if (std::max(above, below) > excess) {
        excess = std::max(above, below);
        which = k;
        to_high = above > below;
      }
    }
    return excess;
  };
  const auto consistent = [&](const std::array<Conduction, 3>& l) {
    int which = -1, other = -1;
    bool to_high = false;
    if (worst(l, which, to_high, other) > 1e-9) return false;
    const Flow f = flow(mode_of(l), y, in);
    for (int k = 0; k < 3; ++k)
      if (free[k] && is_diode(l[static_cast<std::size_t>(k)]) &&
          diode_direction(l[static_cast<std::size_t>(k)]) *
                  leg_current(k, f.di_dt.alpha, f.di_dt.beta) <
              0.0)
        return false;
    return true;
  };

  const std::array<Conduction, 3> start = leg;
  for (int rounds = 0; rounds < 3; ++rounds) {
    int which = -1, other = -1;
    bool to_high = false;
    if (worst(leg, which, to_high, other) <= 0.0) break;
    leg[static_cast<std::size_t>(which)] = to_high ? Conduction::high_diode : Conduction::low_diode;
    if (other >= 0) leg[static_cast<std::size_t>(other)] = Conduction::low_diode;
  }
  if (leg != start && !consistent(leg)) {
    const std::array<Conduction, 3> greedy = leg;
    constexpr Conduction options[3] = {Conduction::floating, Conduction::low_diode,
                                       Conduction::high_diode};
    bool found = false;
    for (int code = 0; code < 27 && !found; ++code) {
      const int digit[3] = {code % 3, code / 3 % 3, code / 9};
      leg = start;
      bool distinct = true;
      for (int k = 0; k < 3; ++k) {
        if (free[k]) leg[static_cast<std::size_t>(k)] = options[digit[k]];
        distinct = distinct && (free[k] || digit[k] == 0);
      }
      found = distinct && consistent(leg);
    }
    if (!found) {
      leg = greedy;
      ++inconsistent_modes;
    }
  }
  use_legs(leg);
  keep_to_freedom();
}

void Drive::Impl::choose_friction() noexcept {
  if (coulomb_Nm <= 0.0 || s.speed_held) return;
  // A speed whose sign has just changed stands at zero; so does one that friction held.
  if (s.omega_m_rad_s * s.rotation <= 0.0) {
    const bool stands = s.rotation != 0 || s.omega_m_rad_s == 0.0;
    if (!stands) {
      s.rotation = s.omega_m_rad_s > 0.0 ? 1 : -1;
      return;
    }
    s.omega_m_rad_s = 0.0;
    const Drivers in = drivers(0.0);
    const double net = flow(*mode, point(), in).machine.torque_Nm - in.load_Nm;
    s.rotation = static_cast<std::int8_t>(net > coulomb_Nm ? 1 : net < -coulomb_Nm ? -1 : 0);
  }
}

void Drive::Impl::settle_modes() noexcept {
  // Only a current that has passed zero ends (the search lands on that side); others that stand at
  // zero with it leave together with it, for one alone would pull them away.
  int ended = 0, ended_leg = 0;
  bool passed = false;
  for (int k = 0; k < 3; ++k) {
    if (!is_diode(s.leg[k])) continue;
    const double current = diode_direction(s.leg[k]) * leg_current(k, s.i_alpha_A, s.i_beta_A);
    passed = passed || current < 0.0;
    if (current > zero_A) continue;
    ++ended;
    ended_leg = k;
  }
  if (!passed) ended = 0;
  if (ended == 1) {
    const AlphaBeta n = leg_axis[static_cast<std::size_t>(ended_leg)];
    const double current = leg_current(ended_leg, s.i_alpha_A, s.i_beta_A);
    s.i_alpha_A -= current * n.alpha;
    s.i_beta_A -= current * n.beta;
  } else if (ended > 1) {
    s.i_alpha_A = s.i_beta_A = 0.0;
  }
  choose_legs();
  choose_supply();
  choose_friction();
}

}  // namespace stillrotor::plant
