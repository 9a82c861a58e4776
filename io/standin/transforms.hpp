// Reference frames of the built-in controllers; written without a look at the plant's.
// Amplitude-invariant: a balanced set of peak X has length X. alpha on phase U, beta 90 electrical
// degrees ahead; d on the magnet's flux axis, q 90 degrees ahead. Source textbook, from memory.
// RT: safe.
#pragma once

namespace stillrotor::io::standin {

inline constexpr double pi = 3.14159265358979323846;
inline constexpr double sqrt3 = 1.73205080756887729353;

struct Vector {  // in the stationary frame (x alpha, y beta) or on the rotor (x d, y q)
  double x = 0.0, y = 0.0;
};

struct Direction {  // of an electrical angle
  double cos = 1.0, sin = 0.0;
};

/// Two measured phases of a three-wire machine to alpha-beta.
constexpr Vector from_phases(double u, double v) noexcept { return {u, (u + 2.0 * v) / sqrt3}; }

constexpr Vector to_rotor(Vector s, Direction a) noexcept {
  return {a.cos * s.x + a.sin * s.y, a.cos * s.y - a.sin * s.x};
}
constexpr Vector to_stator(Vector r, Direction a) noexcept {
  return {a.cos * r.x - a.sin * r.y, a.sin * r.x + a.cos * r.y};
}

struct ThreePhases {
  double u = 0.0, v = 0.0, w = 0.0;
};
constexpr ThreePhases to_phases(Vector s) noexcept {
  return {s.x, 0.5 * (sqrt3 * s.y - s.x), -0.5 * (sqrt3 * s.y + s.x)};
}

/// Turned on by a small angle [rad], |angle| < 1: polynomials, error below 3e-6 (1e-8 at 0.5 rad).
constexpr Direction ahead(Direction a, double angle) noexcept {
  const double q = angle * angle;
  const double c = 1.0 - q * (1.0 / 2 - q * (1.0 / 24 - q * (1.0 / 720 - q / 40320)));
  const double s = angle * (1.0 - q * (1.0 / 6 - q * (1.0 / 120 - q / 5040)));
  return {a.cos * c - a.sin * s, a.sin * c + a.cos * s};
}

}  // namespace stillrotor::io::standin
