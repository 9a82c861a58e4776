// Which way each leg conducts, after any change: gates, a current that ended, a terminal that left
// its window. A leg that may carry the current it has keeps to what its gates offer for that sign;
// legs at zero current start floating and begin to conduct where the terminal potential asks for
// it.
#include "plant/floating_leg.hpp"
#include "plant/flow.hpp"
#include "plant/shaped_step.hpp"

namespace stillrotor::plant {
namespace {

/// The leg whose terminal stands farthest outside its window, and by how much. Where no leg
/// conducts a pair begins: one carries current out, the other into it.
struct Violation {
  double excess_V = 0.0;
  int out = -1, into = -1;
};

bool none_conducts(const std::array<Conduction, 3>& l) noexcept {
  return !conducts(l[0]) && !conducts(l[1]) && !conducts(l[2]);
}

}  // namespace

// What a leg's gates offer for this current, the diode beside a channel included.
Conduction Drive::Impl::carrying(const LegChoice& choice, double current_A) const noexcept {
  const Conduction c = current_A > 0.0 ? choice.out : choice.into;
  if (c == Conduction::low_switch && current_A > share_A) return Conduction::low_shared;
  if (c == Conduction::high_switch && current_A < -share_A) return Conduction::high_shared;
  return c;
}

// An ungated leg with current, where switches have capacitance: from the far side it has to swing
// first; from its own side only its own drop is left, which is taken at once.
Conduction Drive::Impl::leaving(std::size_t k, double current_A, double terminal_V,
                                double bus_V) const noexcept {
  const bool out = current_A > 0.0;
  const Conduction was = s.leg[k], diode = out ? Conduction::low_diode : Conduction::high_diode;
  const bool arrived = out ? on_low_side(was) : on_high_side(was);
  if (arrived || !conducts(was)) return diode;
  const Window w = window(k, bus_V);
  if (out ? terminal_V <= w.low_V : terminal_V >= w.high_V) return diode;
  return out ? Conduction::swinging_down : Conduction::swinging_up;
}

// The leg that rests floats, or the diode beyond whose knee its terminal would stand begins to
// conduct: that one pulls its current its own way, so nothing is left to be tried.
bool Drive::Impl::use_resting_leg() noexcept {
  if (!glides_beside_floating || s.open_phases != 0 || s.grounded >= 0 ||
      !(current_A2() < share_A * share_A))
    return false;
  const Gated& to = gated[s.gates];
  std::size_t signs = 0, resting = 3;
  for (std::size_t k = 0; k < 3; ++k) {
    const double current = leg_current(k, s.i_alpha_A, s.i_beta_A);
    if (choice_of(k).both_ways()) continue;
    if (std::abs(current) > zero_A) {
      signs |= (current > 0.0 ? 1U : 0U) << k;
    } else {
      if (resting != 3) return false;
      resting = k;
    }
  }
  if (resting == 3) return false;
  std::array<Conduction, 3> leg = to.leg[signs];
  leg[resting] = Conduction::floating;
  const ConductionMode& next = modes[static_cast<std::size_t>(mode_index(leg[0], leg[1], leg[2]))];
  if (next.shoot_S != mode->shoot_S) return false;
  const double bus_V = flow_of_bus(next, point(), drivers(0.0)).bus_V;
  const unsigned beyond =
      below_zero(FloatingLeg(*this, next, resting)
                     .margins_V(pair(s.i_alpha_A, s.i_beta_A), s.omega_m_rad_s,
                                shaped_emf(s.theta_e_rad, pair(s.cos_e, s.sin_e)).Wb, bus_V));
  if (beyond == 0U) {
    use_legs(leg, next);
  } else {
    leg[resting] = beyond == 1U ? choice_of(resting).out : choice_of(resting).into;
    use_legs(leg);
  }
  return true;
}

void Drive::Impl::choose_legs() noexcept {
  if (use_plain_legs()) return;
  if (use_resting_leg()) return keep_to_freedom();
  const bool capacitance = par.bridge.output_capacitance_F > 0.0;
  const Terminals before = capacitance ? terminals_now() : Terminals{};
  std::array<Conduction, 3> leg{};
  bool free[3] = {};
  bool any_free = false;
  for (std::size_t k = 0; k < 3; ++k) {
    const LegChoice& choice = choice_of(k);
    const double current = leg_current(k, s.i_alpha_A, s.i_beta_A);
    if ((s.open_phases >> k) & 1U) {
      leg[k] = shorts_the_bus(choice.out) ? Conduction::open_shorted : Conduction::open;
    } else if (!choice.both_ways() && std::abs(current) <= zero_A) {
      free[k] = any_free = true;
    } else if (capacitance && gates_of(k) == 0U && !is_grounded(choice.out)) {
      leg[k] = leaving(k, current, before.terminal_V[k], before.bus_V);
      if (swings(leg[k]) && !swings(s.leg[k]))
        set_swing(k, before.terminal_V[k] - 0.5 * before.bus_V);
    } else {
      leg[k] = carrying(choice, current);
    }
  }
  use_legs(leg);  // so that the bus is the one of these gates
  if (any_free) begin_free_legs(leg, free);
  keep_to_freedom();
}

void Drive::Impl::begin_free_legs(std::array<Conduction, 3> leg, const bool (&free)[3]) noexcept {
  const Point y = point();
  const Drivers in = drivers(0.0);
  ConductionMode own;
  const auto worst = [&](const std::array<Conduction, 3>& l) {
    const Flow f = flow(mode_of(l, own), y, in);
    const Phases v = terminals(l, y, f);
    const bool none = none_conducts(l);
    Violation single;
    int lowest = -1, highest = -1;
    double below = -1e300, above = -1e300;
    for (int k = 0; k < 3; ++k) {
      const auto n = static_cast<std::size_t>(k);
      if (l[n] != Conduction::floating) continue;
      const Window w = none ? rest_window(n, f.bus_V) : window(n, f.bus_V);
      const double too_low = w.low_V - at(v, n), too_high = at(v, n) - w.high_V;
      if (too_low > below) below = too_low, lowest = k;
      if (too_high > above) above = too_high, highest = k;
      if (too_low > single.excess_V) single = {too_low, k, -1};
      if (too_high > single.excess_V) single = {too_high, -1, k};
    }
    if (!none) return single;
    if (lowest == highest || below + above <= 0.0) return Violation{};
    return Violation{below + above, lowest, highest};
  };
  const auto consistent = [&](const std::array<Conduction, 3>& l) {
    if (worst(l).excess_V > 1e-9) return false;
    const Flow f = flow(mode_of(l, own), y, in);
    for (std::size_t k = 0; k < 3; ++k)
      if (free[k] && conducts(l[k]) &&
          law(l[k]).way * leg_current(k, f.di_dt.alpha, f.di_dt.beta) < 0.0)
        return false;
    return true;
  };

  const std::array<Conduction, 3> start = leg;
  for (int rounds = 0; rounds < 3; ++rounds) {
    const Violation v = worst(leg);
    if (v.excess_V <= 0.0) break;
    if (v.out >= 0) {
      const auto k = static_cast<std::size_t>(v.out);
      leg[k] = choice_of(k).out;
    }
    if (v.into >= 0) {
      const auto k = static_cast<std::size_t>(v.into);
      leg[k] = choice_of(k).into;
    }
  }
  if (leg != start && !consistent(leg)) {
    const std::array<Conduction, 3> greedy = leg;
    bool found = false;
    for (int code = 0; code < 27 && !found; ++code) {
      const int digit[3] = {code % 3, code / 3 % 3, code / 9};
      leg = start;
      bool distinct = true;
      for (std::size_t k = 0; k < 3; ++k) {
        if (free[k] && digit[k] != 0) leg[k] = digit[k] == 1 ? choice_of(k).out : choice_of(k).into;
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
}

}  // namespace stillrotor::plant
