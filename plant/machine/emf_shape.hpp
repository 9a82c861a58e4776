// Back-EMF shape over the electrical angle, per unit of the fundamental.
//   e = omega_e * flux_linkage * g(theta);  sine: g = (0, 1) on d and q, (-sin, cos) on alpha and
//   beta.
// Other shapes: a table on the rotor, where harmonics 6k-1 and 6k+1 both turn 6k times, over one
// sixth of a turn, with cubic Hermite interpolation of the harmonic sum: the error is
// (2 pi m / 3072)^4 / 384 of each harmonic, below 1e-9 of the fundamental for a trapezoid up to
// order 99. Torque uses the same g, so mechanical and electrical power agree to rounding.
// RT: safe. O(1).
#pragma once

#include <vector>

#include "plant/frames.hpp"
#include "plant/machine/permanent_magnet.hpp"
#include "plant/pair.hpp"

namespace stillrotor::plant {

class EmfShape {
 public:
  /// Throws std::invalid_argument for even orders, orders outside 1..99 or a fundamental that is
  /// not 1.
  explicit EmfShape(const std::vector<BackEmfHarmonic>&);

  /// g on the d and q axes, at any angle above -2 pi.
  Pair on_rotor(double theta) const noexcept { return sine_ ? pair(0.0, 1.0) : from_table(theta); }
  /// The same with its slope over the angle, of a shape that is not a sine.
  struct Sloped {
    Pair value, per_rad;
  };
  [[gnu::always_inline]] Sloped sloped_on_rotor(double theta) const noexcept {
    const Cubic g(knots_, theta * per_sixth_rad);
    return {g.value(), both(per_sixth_rad) * g.slope()};
  }
  /// g on the stationary axes, at an angle given as value, cosine and sine.
  AlphaBeta operator()(double theta, double cos_theta, double sin_theta) const noexcept {
    if (sine_) return {-sin_theta, cos_theta};
    const Pair g = from_table(theta);
    return unpark({g[0], g[1]}, cos_theta, sin_theta);
  }
  /// Zero-sequence part of the phase EMFs (triplen harmonics), same scale, at any angle above -2
  /// pi.
  double zero_sequence(double theta) const noexcept {
    return triplen_.empty() ? 0.0 : interpolated(triplen_, theta * per_third_rad)[0];
  }
  /// Flux linkage whose slope over theta is g, on the stationary axes. O(harmonics), with sines.
  AlphaBeta flux(double theta) const noexcept;
  /// The same of the zero sequence.
  double zero_sequence_flux(double theta) const noexcept;
  bool is_sine() const noexcept { return sine_; }
  bool has_triplens() const noexcept { return !triplen_.empty(); }
  /// Bound on |g| over the turn.
  double peak() const noexcept { return peak_; }

 private:
  static constexpr int intervals = 512;  // over a sixth of a turn
  struct Knot {
    Pair value, slope;  // slope per interval
  };

  /// Between two knots.
  struct Cubic {
    Pair start, slant, square, cubic;
    double t;

    [[gnu::always_inline]] Cubic(const std::vector<Knot>& knots, double position) noexcept {
      const double x = position + 6.0 * intervals;
      const auto cell = static_cast<long>(x);
      t = x - static_cast<double>(cell);
      const Knot& a = knots[static_cast<std::size_t>(cell) & (intervals - 1)];
      const Knot& b = knots[static_cast<std::size_t>(cell + 1) & (intervals - 1)];
      const Pair rise = b.value - a.value;
      start = a.value;
      slant = a.slope;
      cubic = a.slope + b.slope - rise - rise;
      square = rise - a.slope - cubic;
    }
    Pair value() const noexcept {
      return start + both(t) * (slant + both(t) * (square + both(t) * cubic));
    }
    Pair slope() const noexcept {  // per interval
      return slant + both(t) * (both(2.0) * square + both(3.0 * t) * cubic);
    }
  };
  static constexpr double per_sixth_rad = 6.0 * intervals / two_pi;
  static constexpr double per_third_rad = 3.0 * intervals / two_pi;

  void tabulate_triplen(const std::vector<BackEmfHarmonic>&);
  Pair from_table(double theta) const noexcept {
    return interpolated(knots_, theta * per_sixth_rad);
  }
  static Pair interpolated(const std::vector<Knot>& knots, double position) noexcept {
    return Cubic(knots, position).value();
  }

  bool sine_ = true;
  double peak_ = 1.0;
  std::vector<BackEmfHarmonic> turning_, zero_;  // all but the triplen ones, and these
  std::vector<Knot> knots_;                      // on d and q, over a sixth of a turn; empty: sine
  std::vector<Knot> triplen_;  // zero sequence (first of the pair), over a third; empty: none
};

}  // namespace stillrotor::plant
