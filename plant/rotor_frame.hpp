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

/// A turn by a little more. extra is of the order of h^2 times the acceleration (1e-6 rad), so its
/// square, left out, is far below rounding of what the step knows.
inline Turn and_a_little(const Turn& t, double extra) noexcept {
  return {t.cos - t.sin * extra, t.sin + t.cos * extra};
}

inline Turn turn_by(double angle) noexcept {
  Turn t;
  rotate(angle, 1.0, 0.0, t.cos, t.sin);
  return t;
}
inline Turn twice(const Turn& t) noexcept {
  return {t.cos * t.cos - t.sin * t.sin, 2.0 * t.sin * t.cos};
}

inline Pair into_rotor(double alpha, double beta, double cos_e, double sin_e) noexcept {
  return pair(cos_e * alpha + sin_e * beta, cos_e * beta - sin_e * alpha);
}

}  // namespace stillrotor::plant
