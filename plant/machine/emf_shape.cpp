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
    if (h.order % 3 != 0 && h.order != 1 && h.ratio != 0.0) sine_ = false;
    bound += std::abs(h.ratio);
    (h.order % 3 != 0 ? turning_ : zero_).push_back(h);
  }
  if (turning_.empty()) turning_.push_back({1, 1.0});
  if (std::abs(fundamental - 1.0) > 1e-12)
    throw std::invalid_argument(
        "machine.back_emf: the fundamental's ratio must be 1; scale with flux_linkage");
  tabulate_triplen(harmonics);
  if (sine_) return;

  peak_ = bound;
  const double step = two_pi / 6.0 / intervals;
  knots_.resize(intervals);
  for (int k = 0; k < intervals; ++k) {
    Knot knot{both(0.0), both(0.0)};
    for (const auto& h : harmonics) {
      if (h.order % 3 == 0) continue;
      // Orders 6k+1 turn forward, 6k-1 backward; seen from the rotor both turn m = 6k times a turn.
      const bool forward = h.order % 3 == 1;
      const double m = forward ? h.order - 1 : h.order + 1;
      const double along_q = forward ? h.ratio : -h.ratio;
      const double angle = m * step * k;
      knot.value += pair(-h.ratio * std::sin(angle), along_q * std::cos(angle));
      knot.slope += both(m * step) * pair(-h.ratio * std::cos(angle), -along_q * std::sin(angle));
    }
    knots_[static_cast<std::size_t>(k)] = knot;
  }
}

AlphaBeta EmfShape::flux(double theta) const noexcept {
  AlphaBeta sum;
  for (const auto& h : turning_) {
    const double share = h.ratio / h.order;
    sum.alpha += share * std::cos(h.order * theta);
    sum.beta += (h.order % 3 == 1 ? share : -share) * std::sin(h.order * theta);
  }
  return sum;
}

double EmfShape::zero_sequence_flux(double theta) const noexcept {
  double sum = 0.0;
  for (const auto& h : zero_) sum += h.ratio / h.order * std::cos(h.order * theta);
  return sum;
}

void EmfShape::tabulate_triplen(const std::vector<BackEmfHarmonic>& harmonics) {
  const double step = two_pi / 3.0 / intervals;
  for (const auto& h : harmonics) {
    if (h.order % 3 != 0 || h.ratio == 0.0) continue;
    triplen_.resize(intervals, Knot{both(0.0), both(0.0)});
    for (int k = 0; k < intervals; ++k) {
      const double angle = h.order * step * k;
      triplen_[static_cast<std::size_t>(k)].value -= both(h.ratio * std::sin(angle));
      triplen_[static_cast<std::size_t>(k)].slope -=
          both(h.ratio * h.order * step * std::cos(angle));
    }
  }
}

}  // namespace stillrotor::plant
