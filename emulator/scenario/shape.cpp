#include "emulator/scenario/shape.hpp"

#include <cmath>

#include "emulator/scenario/draws.hpp"
#include "emulator/scenario/fields.hpp"

namespace stillrotor {

// Straight lines between independent points dt apart have the density sinc^4(f dt): half is left at
// f dt = 0.3189; and in the mean over time 2/3 of the points' variance.
void draw_noise(Shape& shape, std::uint64_t seed, std::uint64_t action) {
  constexpr double half_power = 0.3189;
  const double step_s = half_power / shape.frequency_Hz;
  const double lasts_s = static_cast<double>(shape.lasts_ps) * 1e-12;
  const double deviation = shape.size * std::sqrt(1.5);
  Draws draws(seed, action);
  shape.points = {{0, 0.0}};
  for (int k = 1; k * step_s < lasts_s; ++k)
    shape.points.push_back({to_ps(k * step_s), deviation * draws.normal()});
  shape.points.push_back({shape.lasts_ps, 0.0});
}

std::vector<std::int64_t> draw_flips(const Flickering& flickering, std::uint64_t seed,
                                     std::uint64_t action) {
  const double absent_s = flickering.present_s * (1.0 - flickering.share) / flickering.share;
  Draws draws(seed, action);
  std::vector<std::int64_t> flips;
  const std::int64_t end_ps = to_ps(flickering.lasts_s);
  for (double t_s = 0.0;;) {
    t_s += draws.exponential(flips.size() % 2 == 0 ? flickering.present_s : absent_s);
    const std::int64_t at_ps = t_s < flickering.lasts_s ? to_ps(t_s) : end_ps;
    if (at_ps >= end_ps) break;
    if (flips.empty() || at_ps > flips.back()) flips.push_back(at_ps);
  }
  if (flips.size() % 2 == 0) flips.push_back(end_ps);
  return flips;
}

}  // namespace stillrotor
