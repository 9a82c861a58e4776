#include "plant/machine/cogging.hpp"

#include <bit>
#include <cmath>
#include <numeric>
#include <stdexcept>
#include <string>

#include "plant/frames.hpp"

namespace stillrotor::plant {

Cogging::Cogging(const std::vector<CoggingHarmonic>& given) {
  int common = 0, highest = 0;
  for (const CoggingHarmonic& h : given) {
    if (h.order < 1 || h.order > 2000)
      throw std::invalid_argument("machine.cogging: order " + std::to_string(h.order) +
                                  "; allowed 1 to 2000 periods a turn.");
    if (!std::isfinite(h.amplitude_Nm) || !std::isfinite(h.phase_rad))
      throw std::invalid_argument("machine.cogging: order " + std::to_string(h.order) +
                                  " has an amplitude or phase that is no number.");
    if (h.amplitude_Nm == 0.0) continue;
    harmonics_.push_back(h);
    common = std::gcd(common, h.order);
    highest = std::max(highest, h.order);
    bound_Nm_ += std::abs(h.amplitude_Nm);
  }
  if (harmonics_.empty()) return;

  // (2 pi / 256)^4 / 384 = 9e-10 of the highest harmonic.
  const std::size_t intervals = std::bit_ceil(static_cast<std::size_t>(256 * (highest / common)));
  const double step = two_pi / common / static_cast<double>(intervals);
  mask_ = intervals - 1;
  per_rad_ = 1.0 / step;
  offset_ = static_cast<double>(intervals) * common;  // one turn, so that the sum stays positive
  knots_.resize(intervals, Knot{0.0, 0.0});
  for (std::size_t k = 0; k < intervals; ++k)
    for (const CoggingHarmonic& h : harmonics_) {
      const double angle = h.order * step * static_cast<double>(k) + h.phase_rad;
      knots_[k].value += h.amplitude_Nm * std::sin(angle);
      knots_[k].slope += h.amplitude_Nm * h.order * step * std::cos(angle);
    }
}

double Cogging::potential_J(double theta_m) const noexcept {
  double sum = 0.0;
  for (const CoggingHarmonic& h : harmonics_)
    sum += h.amplitude_Nm / h.order * std::cos(h.order * theta_m + h.phase_rad);
  return sum;
}

}  // namespace stillrotor::plant
