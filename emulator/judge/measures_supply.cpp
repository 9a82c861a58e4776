// Does the supply's current swing, as a source and a controller that fight each other make it?
#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <numbers>
#include <unsupported/Eigen/FFT>

#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"

namespace stillrotor {
namespace {

constexpr double highest_Hz = 200.0, slice_s = 1e-3;
constexpr std::size_t fewest = 64;

struct Swing {
  double amplitude = 0.0, frequency_Hz = 0.0, line_Hz = 0.0;
  double usual = 0.0;  // amplitude of a line in the middle of their order
  std::string undefined;
};

/// The largest line of the supply's current between three periods a window and highest_Hz.
Swing swing_of(const MeasureInput& input) {
  Swing swing;
  const SpreadStatistics& spread = input.spread(Signal::bus_current);
  swing.undefined = spread.undefined;
  const double rate_Hz = input.record().rate_Hz();
  const auto bins = std::max<std::size_t>(1, static_cast<std::size_t>(slice_s * rate_Hz));
  const GridRange& inside = input.window.inside;
  const std::size_t n = std::bit_floor(std::max<std::size_t>(1, inside.count / bins));
  if (swing.undefined.empty() && n < fewest) swing.undefined = "the window is shorter than 64 ms";
  if (!swing.undefined.empty()) return swing;
  const std::size_t first = inside.first + inside.count - n * bins;
  const auto least = input.record().least(Signal::bus_current, first, n * bins);
  const auto greatest = input.record().greatest(Signal::bus_current, first, n * bins);
  std::vector<double> slices(n, 0.0);
  for (std::size_t k = 0; k < n * bins; ++k)
    slices[k / bins] += 0.5 * (double{least[k]} + double{greatest[k]}) / static_cast<double>(bins);
  // Without mean and straight trend (least squares), seen through a raised cosine.
  const auto count = static_cast<double>(n);
  const double middle = 0.5 * (count - 1.0), average = mean(slices);
  double slope = 0.0;
  for (std::size_t k = 0; k < n; ++k) slope += (static_cast<double>(k) - middle) * slices[k];
  slope /= count * (count * count - 1.0) / 12.0;
  for (std::size_t k = 0; k < n; ++k) {
    const double at = static_cast<double>(k);
    slices[k] = (slices[k] - average - slope * (at - middle)) *
                (0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * at / count));
  }
  std::vector<std::complex<double>> lines;
  Eigen::FFT<double>().fwd(lines, slices);
  swing.line_Hz = rate_Hz / static_cast<double>(bins) / count;
  std::vector<double> sizes;
  for (std::size_t k = 3; k < n / 2 && static_cast<double>(k) * swing.line_Hz <= highest_Hz; ++k) {
    const double amplitude = 4.0 / count * std::abs(lines[k]);
    sizes.push_back(amplitude);
    if (amplitude <= swing.amplitude) continue;
    swing.amplitude = amplitude;
    swing.frequency_Hz = static_cast<double>(k) * swing.line_Hz;
  }
  if (sizes.empty()) {
    swing.undefined = "the window is too short";
    return swing;
  }
  std::nth_element(sizes.begin(), sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2),
                   sizes.end());
  swing.usual = sizes[sizes.size() / 2];
  return swing;
}

}  // namespace

Measurement supply_swing(const MeasureInput& input) {
  const Swing swing = swing_of(input);
  if (!swing.undefined.empty()) return undefined(swing.undefined);
  Measurement answer;
  answer.value = swing.amplitude;
  // A swing between two lines shows 15 % too small (the raised cosine's scalloping, 1.42 dB).
  answer.uncertainty = 0.16 * swing.amplitude + swing.usual;
  return answer;
}

Measurement supply_swing_frequency(const MeasureInput& input) {
  const Swing swing = swing_of(input);
  if (!swing.undefined.empty()) return undefined(swing.undefined);
  if (swing.amplitude <= 5.0 * swing.usual)
    return undefined("nothing stands out: the supply's current does not swing at one frequency");
  Measurement answer;
  answer.value = swing.frequency_Hz;
  answer.uncertainty = 0.5 * swing.line_Hz;
  return answer;
}

}  // namespace stillrotor
