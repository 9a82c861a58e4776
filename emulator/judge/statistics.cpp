#include "emulator/judge/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t block_size = 65536;  // of a long record at a time

/// The points around bin k: its neighbours' ends. Not a number beyond the record.
struct Points {
  float before = NAN, start = NAN, end = NAN, after = NAN;
};

/// How far the mean of a bin may lie from the middle of its ramp; see the header.
double doubt(const Points& points, double least, double greatest) {
  const double spread = greatest - least;
  const double step = std::fabs(double{points.end} - double{points.start});
  const double bend =
      std::max(std::fabs(double{points.before} - 2.0 * double{points.start} + double{points.end}),
               std::fabs(double{points.start} - 2.0 * double{points.end} + double{points.after}));
  const double seen = spread - step + bend;
  return 0.5 * (seen < spread ? std::max(seen, 0.0) : spread);  // also where a point is missing
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
  double mean = 0.0, mean_doubt = 0.0;
  const std::size_t end = window.touching.first + window.touching.count;
  std::vector<float> points;
  for (std::size_t first = window.touching.first; first < end; first += block_size) {
    const std::size_t count = std::min(block_size, end - first);
    const auto least = record.least(signal, first, count);
    const auto greatest = record.greatest(signal, first, count);
    // Points from two before the block to one behind it; not a number beyond the record.
    const std::size_t first_point = first - std::min<std::size_t>(first, 2);
    const std::size_t point_count = std::min(first + count + 1, record.frames()) - first_point;
    const auto values = record.values(signal, first_point, point_count);
    points.assign(count + 3, NAN);
    std::copy(values.begin(), values.end(), points.begin() + (2 - (first - first_point)));
    for (std::size_t n = 0; n < count; ++n) {
      const std::size_t k = first + n;
      const double low = double{least[n]}, high = double{greatest[n]};
      answer.least_touching = std::min(answer.least_touching, low);
      answer.greatest_touching = std::max(answer.greatest_touching, high);
      if (k < window.inside.first || k >= window.inside.first + window.inside.count) continue;
      answer.least = std::min(answer.least, low);
      answer.greatest = std::max(answer.greatest, high);
      answer.widest = std::max(answer.widest, high - low);
      const double its_doubt =
          doubt({points[n], points[n + 1], points[n + 2], points[n + 3]}, low, high);
      mean += 0.5 * (low + high);
      mean_doubt += its_doubt;
    }
  }
  const double share = 1.0 / static_cast<double>(window.inside.count);
  answer.mean = mean * share;
  answer.mean_doubt = mean_doubt * share;
  if (!std::isfinite(answer.mean)) {
    answer.undefined = "the record holds values of " +
                       std::string(signal_table[static_cast<std::size_t>(signal)].name) +
                       " that are not numbers";
  }
  return answer;
}

SpeedStatistics speed_statistics(const RecordReader& record, const Stretch& window) {
  SpeedStatistics answer;
  const GridRange& points = window.points;
  if (points.count < 2) {
    answer.undefined = "the window holds fewer than two points of the record's grid";
    return answer;
  }
  const auto speed = record.values(Signal::speed, points.first, points.count);
  double sum = 0.0;
  for (const float value : speed) sum += double{value};
  if (!std::isfinite(sum)) {
    answer.undefined = "the record holds values of speed that are not numbers";
    return answer;
  }
  const auto step_at = [&](std::size_t k) {
    const double before = k > 0 ? std::fabs(double{speed[k]} - double{speed[k - 1]}) : 0.0;
    const double after =
        k + 1 < speed.size() ? std::fabs(double{speed[k + 1]} - double{speed[k]}) : 0.0;
    return std::max(before, after);
  };
  const auto [least, greatest] = std::minmax_element(speed.begin(), speed.end());
  answer.count = speed.size();
  answer.mean = sum / static_cast<double>(speed.size());
  answer.least = double{*least};
  answer.greatest = double{*greatest};
  answer.step_at_least = step_at(static_cast<std::size_t>(least - speed.begin()));
  answer.step_at_greatest = step_at(static_cast<std::size_t>(greatest - speed.begin()));
  return answer;
}

Measurement mean_of_means(const RecordReader& record, Signal signal, const Stretch& window) {
  if (window.inside.count == 0)
    return undefined("the window is shorter than one step of the record's grid (" +
                     quantity_text(1.0 / record.rate_Hz(), "s") + ")");
  double sum = 0.0, size = 0.0, cut = 0.0;
  const std::size_t inside_end = window.inside.first + window.inside.count,
                    end = window.touching.first + window.touching.count;
  for (std::size_t first = window.touching.first; first < end; first += block_size) {
    const auto values = record.values(signal, first, std::min(block_size, end - first));
    for (std::size_t n = 0; n < values.size(); ++n) {
      const double value = double{values[n]};
      if (first + n < window.inside.first || first + n >= inside_end) {
        cut += std::fabs(value);
        continue;
      }
      sum += value;
      size += std::fabs(value);
    }
  }
  if (!std::isfinite(size + cut))
    return undefined("the record holds values of " +
                     std::string(signal_table[static_cast<std::size_t>(signal)].name) +
                     " that are not numbers");
  const auto count = static_cast<double>(window.inside.count);
  Measurement mean;
  mean.value = sum / count;
  mean.uncertainty = (step_doubt + float_resolution(1.0)) * size / count +
                     (1.0 - window.covered) * std::fabs(mean.value) +
                     cut / record.rate_Hz() / window.seconds();
  return mean;
}

Measurement mean_of(const SpreadStatistics& statistics, const Stretch& window) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  Measurement mean;
  mean.value = statistics.mean;
  mean.uncertainty =
      statistics.mean_doubt +
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
