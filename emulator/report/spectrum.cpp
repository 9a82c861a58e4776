#include "emulator/report/spectrum.hpp"

#include <bit>
#include <cmath>
#include <complex>
#include <numbers>
#include <unsupported/Eigen/FFT>

namespace stillrotor {

Spectrum spectrum(std::span<const float> values, double rate_Hz) {
  if (values.size() < 64) return {};
  const std::size_t n = std::bit_floor(values.size());
  values = values.last(n);
  double mean = 0.0;
  for (const float value : values) mean += static_cast<double>(value) / static_cast<double>(n);
  // A straight trend, by least squares: of what rises slowly it would hide all else.
  const double count = static_cast<double>(n), middle = 0.5 * (count - 1.0);
  double slope = 0.0;
  for (std::size_t k = 0; k < n; ++k)
    slope += (static_cast<double>(k) - middle) * static_cast<double>(values[k]);
  slope /= count * (count * count - 1.0) / 12.0;
  std::vector<double> windowed(n);
  for (std::size_t k = 0; k < n; ++k) {
    const double turn = 2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n);
    windowed[k] =
        (static_cast<double>(values[k]) - mean - slope * (static_cast<double>(k) - middle)) *
        (0.5 - 0.5 * std::cos(turn));
  }
  std::vector<std::complex<double>> lines;
  Eigen::FFT<double>().fwd(lines, windowed);
  Spectrum out{rate_Hz / static_cast<double>(n), {}};
  // Half the window's mean, and half of the amplitude in the mirrored line.
  const double scale = 4.0 / static_cast<double>(n);
  for (std::size_t k = 0; k <= n / 2; ++k) out.amplitude.push_back(scale * std::abs(lines[k]));
  return out;
}

}  // namespace stillrotor
