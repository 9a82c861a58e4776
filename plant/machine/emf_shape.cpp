#include "plant/machine/emf_shape.hpp"

#include <cmath>
#include <stdexcept>
#include <string>

namespace stillrotor::plant {

EmfShape::EmfShape(const std::vector<BackEmfHarmonic>& harmonics) {
  double fundamental = harmonics.empty() ? 1.0 : 0.0;
  double bound = 0.0;
  for (const auto& h : harmonics) {
    if (h.order < 1 || h.order > 99 || h.order % 2 == 0)
      throw std::invalid_argument("machine.back_emf: harmonic order " + std::to_string(h.order) +
                                  " is not odd and within 1 to 99");
    if (!std::isfinite(h.ratio))
      throw std::invalid_argument("machine.back_emf: a harmonic ratio is not a number");
    if (h.order == 1) fundamental += h.ratio;
    if (h.order % 3 == 0)
      triplen_.push_back(h);
    else if (h.order != 1 && h.ratio != 0.0)
      sine_ = false;
    bound += std::abs(h.ratio);
  }
  if (std::abs(fundamental - 1.0) > 1e-12)
    throw std::invalid_argument(
        "machine.back_emf: the fundamental's ratio must be 1; scale with flux_linkage");
  if (sine_) return;

  peak_ = bound;
  const double step = two_pi / intervals;
  knots_.resize(intervals);
  for (int k = 0; k < intervals; ++k) {
    Knot knot{};
    for (const auto& h : harmonics) {
      if (h.order % 3 == 0) continue;
      const double n = h.order;
      const double sequence = h.order % 3 == 1 ? 1.0 : -1.0;
      const double angle = n * step * k;
      knot.alpha -= h.ratio * std::sin(angle);
      knot.alpha_slope -= h.ratio * n * step * std::cos(angle);
      knot.beta += sequence * h.ratio * std::cos(angle);
      knot.beta_slope -= sequence * h.ratio * n * step * std::sin(angle);
    }
    knots_[static_cast<std::size_t>(k)] = knot;
  }
}

AlphaBeta EmfShape::from_table(double theta) const noexcept {
  constexpr double per_rad = intervals / two_pi;
  const double x = theta * per_rad + intervals;  // stays positive one turn below zero
  const auto cell = static_cast<long>(x);
  const double t = x - static_cast<double>(cell);
  const Knot& a = knots_[static_cast<std::size_t>(cell) & (intervals - 1)];
  const Knot& b = knots_[static_cast<std::size_t>(cell + 1) & (intervals - 1)];
  const double t2 = t * t, t3 = t2 * t;
  const double h01 = 3.0 * t2 - 2.0 * t3, h00 = 1.0 - h01, h10 = t3 - 2.0 * t2 + t, h11 = t3 - t2;
  return {h00 * a.alpha + h10 * a.alpha_slope + h01 * b.alpha + h11 * b.alpha_slope,
          h00 * a.beta + h10 * a.beta_slope + h01 * b.beta + h11 * b.beta_slope};
}

double EmfShape::zero_sequence(double theta) const noexcept {
  double sum = 0.0;
  for (const auto& h : triplen_) sum -= h.ratio * std::sin(h.order * theta);
  return sum;
}

}  // namespace stillrotor::plant
