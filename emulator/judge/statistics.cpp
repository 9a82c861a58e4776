#include "emulator/judge/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t block_size = 65536;  // of a long record at a time

bool is_inside(const GridRange& range, std::size_t k) {
  return k >= range.first && k < range.first + range.count;
}

/// A value known to lie between two bounds, in float32.
Measurement between(double low, double high) {
  Measurement measurement;
  measurement.value = 0.5 * (low + high);
  measurement.uncertainty =
      0.5 * (high - low) + float_resolution(std::max(std::fabs(low), std::fabs(high)));
  return measurement;
}

}  // namespace

double float_resolution(double size) noexcept { return size * 0x1p-24; }

double SpreadStatistics::largest_size() const noexcept {
  return std::max(std::fabs(least_touching), std::fabs(greatest_touching));
}

SpreadStatistics spread_statistics(const RecordReader& record, Signal signal,
                                   const Stretch& window) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  SpreadStatistics answer;
  if (window.inside.count == 0) {
    answer.undefined = "the window is shorter than one step of the record's grid (" +
                       quantity_text(1.0 / record.rate_Hz(), "s") + ")";
    return answer;
  }
  answer.least = answer.least_touching = infinity;
  answer.greatest = answer.greatest_touching = -infinity;
  double ramps = 0.0, points = 0.0, ramp_squares = 0.0, point_squares = 0.0;
  const std::size_t end = window.touching.first + window.touching.count;
  for (std::size_t first = window.touching.first; first < end; first += block_size) {
    const std::size_t count = std::min(block_size, end - first);
    const auto values = record.values(signal, first, count);
    const auto least = record.least(signal, first, count);
    const auto greatest = record.greatest(signal, first, count);
    for (std::size_t k = 0; k < count; ++k) {
      const double low = double{least[k]}, high = double{greatest[k]}, point = double{values[k]};
      answer.least_touching = std::min(answer.least_touching, low);
      answer.greatest_touching = std::max(answer.greatest_touching, high);
      if (!is_inside(window.inside, first + k)) continue;
      answer.least = std::min(answer.least, low);
      answer.greatest = std::max(answer.greatest, high);
      ramps += 0.5 * (low + high);
      points += point;
      ramp_squares += (low * low + low * high + high * high) / 3.0;
      point_squares += point * point;
    }
  }
  const double share = 1.0 / static_cast<double>(window.inside.count);
  answer.mean_of_ramps = ramps * share;
  answer.mean_of_points = points * share;
  answer.mean_square_of_ramps = ramp_squares * share;
  answer.mean_square_of_points = point_squares * share;
  if (!std::isfinite(answer.mean_square_of_ramps + answer.mean_square_of_points)) {
    answer.undefined = "the record holds values of " +
                       std::string(signal_table[static_cast<std::size_t>(signal)].name) +
                       " that are not numbers";
  }
  return answer;
}

Measurement mean_of(const SpreadStatistics& statistics, const Stretch& window) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  Measurement mean;
  mean.value = statistics.mean_of_ramps;
  mean.uncertainty =
      std::fabs(statistics.mean_of_ramps - statistics.mean_of_points) +
      (1.0 - window.covered) * (statistics.greatest_touching - statistics.least_touching) +
      float_resolution(statistics.largest_size());
  return mean;
}

Measurement least_of(const SpreadStatistics& statistics) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  return between(statistics.least_touching, statistics.least);
}

Measurement greatest_of(const SpreadStatistics& statistics) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  return between(statistics.greatest, statistics.greatest_touching);
}

Measurement peak_of(const SpreadStatistics& statistics) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  return between(std::max(std::fabs(statistics.least), std::fabs(statistics.greatest)),
                 statistics.largest_size());
}

}  // namespace stillrotor
