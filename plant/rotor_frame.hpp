// Vectors seen from the rotor, and small turns of it within a step.
// RT: safe.
#pragma once

#include "plant/drive_impl.hpp"
#include "plant/pair.hpp"

namespace stillrotor::plant {

struct Turn {
  double cos, sin;
};

/// A stationary vector, given in the frame at the step's begin, seen from a frame turned on by t.
inline Pair seen(Pair v, const Turn& t) noexcept {
  return both(t.cos) * v + pair(t.sin, -t.sin) * swapped(v);
}

/// What a vector changes by, per radian by which the frame that sees it turns on.
inline Pair turning(Pair v) noexcept { return pair(v[1], -v[0]); }

/// The bridge as the rotor sees it: voltage shares, knees, uneven part of the resistances.
struct BridgeView {
  Pair u, e, uneven;
};

/// A turn by a little more. extra is of the order of h^2 times the acceleration (1e-6 rad): its
/// cube is nothing.
inline Turn and_a_little(const Turn& t, double extra) noexcept {
  const double less = 0.5 * extra * extra;
  return {(t.cos - t.sin * extra) - t.cos * less, (t.sin + t.cos * extra) - t.sin * less};
}

inline Turn turn_by(double angle) noexcept {
  Turn t;
  small_turn(angle, t.cos, t.sin);
  return t;
}
/// Of less than 0.002 rad: error below 1e-16.
inline Turn tiny_turn(double angle) noexcept {
  const double d2 = angle * angle;
  return {1.0 - d2 * (0.5 - d2 * (1.0 / 24.0)), angle - angle * d2 * (1.0 / 6.0)};
}
inline Turn both_turns(const Turn& a, const Turn& b) noexcept {
  return {a.cos * b.cos - a.sin * b.sin, a.sin * b.cos + a.cos * b.sin};
}
inline Turn twice(const Turn& t) noexcept {
  return {t.cos * t.cos - t.sin * t.sin, 2.0 * t.sin * t.cos};
}

inline Pair into_rotor(Pair v, double cos_e, double sin_e) noexcept {
  return both(cos_e) * v + pair(sin_e, -sin_e) * swapped(v);
}
inline Pair into_rotor(double alpha, double beta, double cos_e, double sin_e) noexcept {
  return into_rotor(pair(alpha, beta), cos_e, sin_e);
}

}  // namespace stillrotor::plant
