#include "plant/machine/permanent_magnet.hpp"

#include <cmath>
#include <stdexcept>

#include "plant/frames.hpp"

namespace stillrotor::plant {
namespace {
/// Half the length of the slope between two flat tops: the trapezoid rises from 0 to E over it.
double ramp_rad(double flat_top_deg) {
  if (!(flat_top_deg > 0.0 && flat_top_deg < 180.0))
    throw std::invalid_argument("machine.back_emf.flat_top: allowed above 0 to below 180 deg");
  return (180.0 - flat_top_deg) / 2.0 * pi / 180.0;
}
}  // namespace

// Fourier series of a trapezoid of height E and ramp a: b_n = 4 E sin(n a) / (pi a n^2), n odd.
// Source: textbook (Fourier series of a trapezoidal wave), from memory.
std::vector<BackEmfHarmonic> trapezoid_harmonics(double flat_top_deg, int max_order) {
  const double ramp = ramp_rad(flat_top_deg);
  std::vector<BackEmfHarmonic> out;
  for (int n = 1; n <= max_order; n += 2)
    out.push_back({n, n == 1 ? 1.0 : std::sin(n * ramp) / (n * n * std::sin(ramp))});
  return out;
}

double trapezoid_flat_over_fundamental(double flat_top_deg) {
  const double ramp = ramp_rad(flat_top_deg);
  return pi * ramp / (4.0 * std::sin(ramp));
}

}  // namespace stillrotor::plant
