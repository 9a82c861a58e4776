// Torque and speed.
#include <algorithm>
#include <cmath>
#include <vector>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// A bin's mean is summed by trapezoids over the plant's steps; between two ends of a step of at
/// most 50 us torque bends by less than this share of its spread (estimated: (omega_e h)^2 / 12 at
/// 400 Hz).
constexpr double trapezoid_doubt = 1.5e-3;

/// Peak to peak of a series of bin values after a moving average `width` bins wide (not
/// necessarily a whole number). The series is taken as constant inside each bin.
double averaged_peak_to_peak(const std::vector<double>& bins, double width) {
  std::vector<double> sum(bins.size() + 1, 0.0);
  for (std::size_t k = 0; k < bins.size(); ++k) sum[k + 1] = sum[k] + bins[k];
  const auto sum_until = [&](double at) {
    const auto whole = std::min(static_cast<std::size_t>(at), bins.size() - 1);
    return sum[whole] + (at - static_cast<double>(whole)) * bins[whole];
  };
  double least = 0.0, greatest = 0.0;
  bool first = true;
  for (double end = width; end <= static_cast<double>(bins.size()); end += 1.0) {
    const double mean = (sum_until(end) - sum_until(end - width)) / width;
    least = first ? mean : std::min(least, mean);
    greatest = first ? mean : std::max(greatest, mean);
    first = false;
  }
  return greatest - least;
}

/// peak_to_peak and what is known of it, over the size of the mean.
Measurement ripple_of(double peak_to_peak, double its_uncertainty, const Measurement& mean) {
  const double size = std::fabs(mean.value);
  if (size <= mean.uncertainty || size < 0.05 * peak_to_peak) {
    return undefined("the mean torque is only " + quantity_text(mean.value, "N m", 3) +
                     " against " + quantity_text(peak_to_peak, "N m", 3) +
                     " peak to peak: a ratio to it says nothing");
  }
  Measurement ripple;
  ripple.value = peak_to_peak / size;
  ripple.uncertainty = (its_uncertainty + ripple.value * mean.uncertainty) / size;
  return ripple;
}

Measurement extreme_speed(const SpeedStatistics& statistics, double value, double step) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  Measurement measurement;
  measurement.value = value;
  measurement.uncertainty = step + float_resolution(std::fabs(value));
  return measurement;
}

}  // namespace

Measurement torque_mean(const MeasureInput& input) {
  const SpreadStatistics& statistics = input.spread(Signal::torque);
  Measurement mean = mean_of(statistics, input.window);
  if (!mean.undefined.empty()) return mean;
  const GridRange& bins = input.window.inside;
  double sum = 0.0;
  for (const float value : input.record().values(Signal::torque_mean, bins.first, bins.count))
    sum += double{value};
  mean.value = sum / static_cast<double>(bins.count);
  // What bins hide (mean_doubt) the bins' own means have kept.
  mean.uncertainty +=
      trapezoid_doubt * (statistics.greatest - statistics.least) - statistics.mean_doubt;
  return mean;
}

Measurement torque_ripple(const MeasureInput& input) {
  const Measurement mean = torque_mean(input);
  if (!mean.undefined.empty()) return mean;
  const GridRange& bins = input.window.inside;
  const auto means = input.record().values(Signal::torque_mean, bins.first, bins.count);
  const double widest = input.spread(Signal::torque).widest;
  // Where nothing switches there is nothing to average away: one bin.
  const Measurement pwm = pwm_frequency(input);
  double width = pwm.undefined.empty() ? std::max(1.0, input.record().rate_Hz() / pwm.value) : 1.0;
  if (width > 0.5 * static_cast<double>(bins.count)) {
    return undefined("the window is shorter than two periods of the pulse-width modulation (" +
                     quantity_text(1.0 / pwm.value, "s", 3) + ")");
  }
  // A period that is a whole number of bins cuts none; else two are cut, at a place unknown inside.
  const double nearest = std::round(width);
  const bool whole = std::fabs(width - nearest) < 1e-4 * width;
  if (whole) width = nearest;
  const double cut = whole ? 0.0 : 2.0 * 0.25 * widest / width;
  const double peak_to_peak =
      averaged_peak_to_peak(std::vector<double>(means.begin(), means.end()), width);
  return ripple_of(peak_to_peak, 2.0 * (cut + trapezoid_doubt * widest), mean);
}

Measurement torque_ripple_with_switching(const MeasureInput& input) {
  const SpreadStatistics& statistics = input.spread(Signal::torque);
  const Measurement mean = mean_of(statistics, input.window);
  if (!mean.undefined.empty()) return mean;
  const Measurement top = greatest_of(statistics), bottom = least_of(statistics);
  return ripple_of(top.value - bottom.value, top.uncertainty + bottom.uncertainty, mean);
}

Measurement speed_mean(const MeasureInput& input) {
  const SpeedStatistics& statistics = input.speed();
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  Measurement mean;
  mean.value = statistics.mean;
  // A sum over points against the integral, and up to a step at each end of the window.
  mean.uncertainty =
      (statistics.greatest - statistics.least) / static_cast<double>(statistics.count) +
      float_resolution(std::max(std::fabs(statistics.least), std::fabs(statistics.greatest)));
  return mean;
}

Measurement speed_min(const MeasureInput& input) {
  const SpeedStatistics& statistics = input.speed();
  return extreme_speed(statistics, statistics.least, statistics.step_at_least);
}

Measurement speed_max(const MeasureInput& input) {
  const SpeedStatistics& statistics = input.speed();
  return extreme_speed(statistics, statistics.greatest, statistics.step_at_greatest);
}

}  // namespace stillrotor
