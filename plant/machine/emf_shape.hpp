// Back-EMF shape over the electrical angle, in alpha-beta, per unit of the fundamental.
//   e_alphabeta(theta) = omega_e * flux_linkage * g(theta);  sine: g = (-sin theta, cos theta).
// Other shapes: a table over one turn with cubic Hermite interpolation of the harmonic sum (error
// below 1e-6 of the fundamental up to order 49: (2 pi n / 1024)^4 / 384 of each harmonic). Torque
// uses the same g, so mechanical and electrical power agree to rounding whatever the table's error.
// RT: safe. O(1).
#pragma once

#include <vector>

#include "plant/frames.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor::plant {

class EmfShape {
 public:
  /// Throws std::invalid_argument for even orders, orders outside 1..99 or a fundamental that is
  /// not 1.
  explicit EmfShape(const std::vector<BackEmfHarmonic>&);

  /// g at an angle given as cosine, sine and value (any turn).
  AlphaBeta operator()(double theta, double cos_theta, double sin_theta) const noexcept {
    return sine_ ? AlphaBeta{-sin_theta, cos_theta} : from_table(theta);
  }
  /// Zero-sequence part of the phase EMFs (triplen harmonics), same scale.
  double zero_sequence(double theta) const noexcept;
  bool is_sine() const noexcept { return sine_; }
  /// Bound on |g| over the turn.
  double peak() const noexcept { return peak_; }

 private:
  AlphaBeta from_table(double theta) const noexcept;
  struct Knot {
    double alpha, alpha_slope, beta, beta_slope;  // slopes per interval
  };
  static constexpr int intervals = 1024;
  bool sine_ = true;
  double peak_ = 1.0;
  std::vector<Knot> knots_;
  std::vector<BackEmfHarmonic> triplen_;
};

}  // namespace stillrotor::plant
