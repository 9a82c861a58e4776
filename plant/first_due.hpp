// The search for what happens inside a step.
// Units  s.  RT: safe; at most 80 tries, two or three as a rule.
#pragma once

#include <algorithm>
#include <cmath>

namespace stillrotor::plant {

inline constexpr double shortest_step_s = 1e-15;
/// A change that comes no later than this after another has had no time between.
inline constexpr double idle_step_s = 10.0 * shortest_step_s;

/// The first moment in (0, h] at which a margin is negative, the margin at 0 and at h being known;
/// at h it is. It aims a hair beyond zero and ends there, so that what the change waits for really
/// is due. tried(t): the margin there, of a step taken anew from the start; keep() that one, for of
/// the tries that are due the latest is the result.
///   A secant first, then inverse quadratic interpolation where three margins allow it, else
///   halves.
/// Source T. R. Chandrupatla, A new hybrid quadratic/bisection algorithm for finding the zero of a
///        nonlinear function without using derivatives, Adv. Eng. Software 28 (1997) 145-149; from
///        memory.
template <class Tried, class Keep>
[[gnu::always_inline]] inline double first_due(double h, double margin_at_h, double margin_at_0,
                                               const Tried& tried, const Keep& keep) {
  constexpr double band = 1e-9, aim = 0.5 * band;  // A, V, rad/s or N m
  struct Try {
    double t, g;  // the margin, seen from where it aims
    bool is_due() const noexcept { return g < aim; }
  };
  Try last{h, margin_at_h + aim}, across{0.0, margin_at_0 + aim}, before{};
  Try due = last;
  for (int tries = 0; tries < 80 && due.g <= -aim && std::abs(across.t - last.t) > shortest_step_s;
       ++tries) {
    double share = 0.5;  // of the way from `last` to `across`
    // A quantity that has just begun (a diode at zero current) has no margin at the start: halve.
    if (const double ahead = last.is_due() ? across.g : last.g; ahead > aim) {
      const double xi = (last.t - across.t) / (before.t - across.t),
                   phi = (last.g - across.g) / (before.g - across.g);
      if (tries == 0)
        share = last.g / (last.g - across.g);
      else if (phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi)
        share = last.g / (across.g - last.g) * (before.g / (across.g - before.g)) +
                (before.t - last.t) / (across.t - last.t) * (last.g / (before.g - last.g)) *
                    (across.g / (before.g - across.g));
    }
    double t = last.t + share * (across.t - last.t);
    if (!(t > std::min(last.t, across.t) && t < std::max(last.t, across.t)))
      t = 0.5 * (last.t + across.t);
    const Try now{t, tried(t) + aim};
    if (now.is_due()) {
      due = now;
      keep();
    }
    if (now.is_due() == last.is_due()) {
      before = last;
    } else {
      before = across;
      across = last;
    }
    last = now;
  }
  return due.t;
}

}  // namespace stillrotor::plant
