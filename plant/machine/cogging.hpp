// Cogging: torque of the magnets against the slots, over the mechanical angle, currents or not.
//   T(theta_m) = sum A_n sin(n theta_m + phi_n),   T = -dU/dtheta_m,  U = sum A_n / n cos(...)
// No constant part, so it gives back over a turn what it takes. A machine without asymmetry has
// only multiples of the least common multiple of slots and poles. Torque by a table over one period
// (cubic Hermite of the sum, error below 1e-9 of each amplitude). Units  N m, rad mechanical.  RT:
// everything but the constructor is safe, O(1); potential_J() is O(harmonics).
#pragma once

#include <cstdint>
#include <vector>

namespace stillrotor::plant {

struct CoggingHarmonic {
  int order = 1;  // periods per mechanical turn, 1 to 2000
  double amplitude_Nm = 0.0;
  double phase_rad = 0.0;
};

class Cogging {
 public:
  /// Throws std::invalid_argument for an order outside 1..2000 or a number that is none.
  explicit Cogging(const std::vector<CoggingHarmonic>&);

  bool any() const noexcept { return !knots_.empty(); }
  /// At any angle above -2 pi. Only where any().
  double torque_Nm(double theta_m) const noexcept {
    const double x = theta_m * per_rad_ + offset_;
    const auto cell = static_cast<std::int64_t>(x);
    const double t = x - static_cast<double>(cell);
    const Knot &a = knots_[static_cast<std::size_t>(cell) & mask_],
               &b = knots_[static_cast<std::size_t>(cell + 1) & mask_];
    const double rise = b.value - a.value;
    const double cubic = a.slope + b.slope - rise - rise;
    return a.value + t * (a.slope + t * (rise - a.slope - cubic + t * cubic));
  }
  /// Energy that it holds at this angle.
  double potential_J(double theta_m) const noexcept;
  /// Bound on |torque|.
  double bound_Nm() const noexcept { return bound_Nm_; }

 private:
  struct Knot {
    double value, slope;  // slope per interval
  };
  std::vector<CoggingHarmonic> harmonics_;
  std::vector<Knot> knots_;  // over one period; a power of two
  double per_rad_ = 0.0, offset_ = 0.0, bound_Nm_ = 0.0;
  std::size_t mask_ = 0;
};

}  // namespace stillrotor::plant
