#include "emulator/judge/series.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace stillrotor {
namespace {

Series read(const RecordReader& record, Signal signal, const GridRange& range) {
  Series series;
  series.step_s = 1.0 / record.rate_Hz();
  series.first_s = static_cast<double>(range.first + 1) * series.step_s;
  const auto values = record.values(signal, range.first, range.count);
  series.value.assign(values.begin(), values.end());
  if (series.value.empty()) {
    series.undefined = "the window holds no point of the record's grid";
  } else if (!std::isfinite(std::accumulate(series.value.begin(), series.value.end(), 0.0))) {
    series.undefined = "the record holds values of " +
                       std::string(signal_table[static_cast<std::size_t>(signal)].name) +
                       " that are not numbers";
  }
  return series;
}

}  // namespace

Series points(const MeasureInput& input, Signal signal) {
  return read(input.record(), signal, input.window.points);
}

Series smoothed(const MeasureInput& input, Signal signal) {
  Series series = points(input, signal);
  const Measurement pwm = pwm_frequency(input);
  if (!pwm.undefined.empty() || !series.undefined.empty()) return series;
  const auto half = static_cast<std::size_t>(
      std::ceil(0.5 * std::max(0.0, input.record().rate_Hz() / pwm.value - 1.0)));
  if (half == 0) return series;
  std::vector<double> sum(series.value.size() + 1, 0.0);
  for (std::size_t k = 0; k < series.value.size(); ++k) sum[k + 1] = sum[k] + series.value[k];
  for (std::size_t k = 0; k < series.value.size(); ++k) {
    const std::size_t from = k - std::min(k, half);
    const std::size_t end = std::min(k + half + 1, series.value.size());
    series.value[k] = (sum[end] - sum[from]) / static_cast<double>(end - from);
  }
  series.blur_s = static_cast<double>(half) * series.step_s;
  return series;
}

Series before_event(const MeasureInput& input, Signal signal, double before_s) {
  Series none;
  if (!input.window.event_ps) {
    none.undefined = "it counts from an event: name one with `after`";
    return none;
  }
  const double rate_Hz = input.record().rate_Hz();
  const double event_s = static_cast<double>(*input.window.event_ps) * 1e-12;
  // Point k stands at (k + 1) / rate; one at the event itself counts as before it.
  const auto end = static_cast<std::size_t>(std::clamp(
      std::floor(event_s * rate_Hz + 1e-6), 0.0, static_cast<double>(input.record().frames())));
  const auto count = std::min(end, static_cast<std::size_t>(before_s * rate_Hz));
  if (count == 0) {
    none.undefined = "the record holds nothing before the event to compare with";
    return none;
  }
  return read(input.record(), signal, {end - count, count});
}

double mean(const std::vector<double>& values) noexcept {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

}  // namespace stillrotor
