// Reference frames of three-phase quantities.
// Clarke and Park, amplitude-invariant: a balanced set of peak X has length X in alpha-beta and dq.
// Sign   alpha on phase U, beta 90 electrical degrees ahead; d on the magnet axis, q 90 deg ahead.
// Zero   the zero-sequence part is dropped: star-connected three-wire machines have none in
// current. Source textbook (amplitude-invariant transforms), from memory. RT: everything here is
// safe, O(1), no state.
#pragma once

#include <array>

namespace stillrotor::plant {

inline constexpr double pi = 3.14159265358979323846;
inline constexpr double two_pi = 2.0 * pi;
inline constexpr double sqrt3 = 1.73205080756887729353;

enum class Leg : unsigned char { U, V, W };

struct AlphaBeta {
  double alpha = 0.0, beta = 0.0;
};
struct Dq {
  double d = 0.0, q = 0.0;
};
struct Phases {
  double U = 0.0, V = 0.0, W = 0.0;
};

/// Clarke: three phase quantities to alpha-beta.
constexpr AlphaBeta clarke(const Phases& x) noexcept {
  return {(2.0 * x.U - x.V - x.W) / 3.0, (x.V - x.W) / sqrt3};
}

/// Inverse Clarke; the three results sum to zero.
constexpr Phases phases(const AlphaBeta& x) noexcept {
  return {x.alpha, -0.5 * x.alpha + 0.5 * sqrt3 * x.beta, -0.5 * x.alpha - 0.5 * sqrt3 * x.beta};
}

/// Park: into the frame at electrical angle theta, given as its cosine and sine.
constexpr Dq park(const AlphaBeta& x, double cos_theta, double sin_theta) noexcept {
  return {cos_theta * x.alpha + sin_theta * x.beta, -sin_theta * x.alpha + cos_theta * x.beta};
}

/// Inverse Park.
constexpr AlphaBeta unpark(const Dq& x, double cos_theta, double sin_theta) noexcept {
  return {cos_theta * x.d - sin_theta * x.q, sin_theta * x.d + cos_theta * x.q};
}

}  // namespace stillrotor::plant
