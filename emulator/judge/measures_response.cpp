// Answers to a step: how fast, how far beyond, how soon at rest; and what speed does by itself.
// Words   rise time from 10 to 90 % of the step, overshoot as a share of it, settling into +-5 % of
// it:
//         as control engineering defines them (IEC 60050-351, from memory).
#include <algorithm>
#include <cmath>
#include <numbers>

#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

constexpr double before_s = 10e-3;     // over which the value before the event is taken
constexpr double settled_share = 0.2;  // of the window, its last part: the value at the end
constexpr std::size_t fewest_points = 20;
constexpr double most_drift = 0.02;  // of the step, from half to half of that last part

std::string shown(Signal signal, double value) {
  return quantity_text(value, signal_table[static_cast<std::size_t>(signal)].unit, 3);
}

/// Where a signal ends up, from the last part of its window.
struct Settled {
  double value = 0.0, drift = 0.0;  // change from the first half of that part to the second
  double least = 0.0, greatest = 0.0;
  std::size_t first = 0;  // point with which that part begins
  std::string undefined;
};
Settled settled(const Series& series) {
  Settled answer;
  answer.undefined = series.undefined;
  if (answer.undefined.empty() && series.value.size() < fewest_points)
    answer.undefined = "the window holds fewer than " + std::to_string(fewest_points) +
                       " points of the record's grid";
  if (!answer.undefined.empty()) return answer;
  const auto count =
      static_cast<std::size_t>(settled_share * static_cast<double>(series.value.size()));
  answer.first = series.value.size() - count;
  const auto begin = series.value.begin() + static_cast<std::ptrdiff_t>(answer.first);
  const auto middle = begin + static_cast<std::ptrdiff_t>(count / 2);
  answer.value = mean({begin, series.value.end()});
  answer.drift = mean({middle, series.value.end()}) - mean({begin, middle});
  const auto [least, greatest] = std::minmax_element(begin, series.value.end());
  answer.least = *least;
  answer.greatest = *greatest;
  return answer;
}

/// A step from one settled value to another.
struct Step {
  Series series;  // from the event on
  double from = 0.0, to = 0.0, drift = 0.0;
  std::string undefined;

  double size() const noexcept { return to - from; }
  double share(std::size_t k) const noexcept { return (series.value[k] - from) / size(); }
  /// The first instant at which this share of the step is reached.
  double reaches_s(double wanted) const noexcept {
    std::size_t k = 0;
    while (k + 1 < series.value.size() && share(k) < wanted) ++k;
    if (k == 0) return series.at_s(0);
    const double a = share(k - 1), b = share(k);
    return series.at_s(k - 1) + (b > a ? (wanted - a) / (b - a) : 1.0) * series.step_s;
  }
};

Step step_of(const MeasureInput& input, Signal signal) {
  Step step;
  const Series before = before_event(input, signal, before_s);
  step.series = smoothed(input, signal);
  const Settled end = settled(step.series);
  step.undefined = !before.undefined.empty() ? before.undefined : end.undefined;
  if (!step.undefined.empty()) return step;
  step.from = mean(before.value);
  step.to = end.value;
  step.drift = end.drift;
  const double scatter = end.greatest - end.least - std::fabs(end.drift);
  if (std::fabs(step.size()) <= 2.0 * scatter ||
      std::fabs(step.size()) <= float_resolution(std::fabs(step.to)) * 4.0) {
    step.undefined = "it went from " + shown(signal, step.from) + " to " + shown(signal, step.to) +
                     ", no step against its ripple of " + shown(signal, scatter) + " at the end";
  } else if (std::fabs(step.drift) > most_drift * std::fabs(step.size())) {
    step.undefined = "it had not settled: in the window's last fifth it still moved by " +
                     shown(signal, step.drift) + " of " + shown(signal, step.size()) +
                     ". Let the window last longer";
  }
  return step;
}

double time_doubt_s(const Step& step) { return step.series.step_s + step.series.blur_s; }

Measurement rise_time(const MeasureInput& input, Signal signal) {
  const Step step = step_of(input, signal);
  if (!step.undefined.empty()) return undefined(step.undefined);
  Measurement rise;
  rise.value = step.reaches_s(0.9) - step.reaches_s(0.1);
  rise.uncertainty =
      2.0 * time_doubt_s(step) + rise.value / 0.8 * std::fabs(step.drift / step.size());
  return rise;
}

Measurement overshoot(const MeasureInput& input, Signal signal) {
  const Step step = step_of(input, signal);
  if (!step.undefined.empty()) return undefined(step.undefined);
  double most = 0.0, change = 0.0;
  for (std::size_t k = 1; k < step.series.value.size(); ++k) {
    if (step.share(k) - 1.0 <= most) continue;
    most = step.share(k) - 1.0;
    change = std::fabs(step.share(k) - step.share(k - 1));
  }
  Measurement beyond;
  beyond.value = most;
  beyond.uncertainty = change + std::fabs(step.drift / step.size());
  return beyond;
}

Measurement settling_time(const MeasureInput& input, Signal signal) {
  const Step step = step_of(input, signal);
  if (!step.undefined.empty()) return undefined(step.undefined);
  constexpr double band = 0.05;
  std::size_t outside = step.series.value.size();
  while (outside > 0 && std::fabs(step.share(outside - 1) - 1.0) <= band) --outside;
  const auto settled_from = static_cast<std::size_t>((1.0 - settled_share) *
                                                     static_cast<double>(step.series.value.size()));
  if (outside >= settled_from)
    return undefined("it leaves the band of 5 % of its step again in the window's last fifth");
  Measurement time;
  const double last_s = outside > 0 ? step.series.at_s(outside - 1)
                                    : static_cast<double>(*input.window.event_ps) * 1e-12;
  time.value = std::max(0.0, last_s - static_cast<double>(*input.window.event_ps) * 1e-12);
  time.uncertainty = time_doubt_s(step);
  return time;
}

/// A disturbance: what it did to the speed at most, and when that had passed.
struct Disturbance {
  Series series;
  double most = 0.0, change = 0.0, event_s = 0.0, end = 0.0;
  std::string undefined;
};
Disturbance disturbance(const MeasureInput& input) {
  Disturbance answer;
  const Series before = before_event(input, Signal::speed, before_s);
  answer.series = points(input, Signal::speed);
  const Settled end = settled(answer.series);
  answer.undefined = !before.undefined.empty() ? before.undefined : end.undefined;
  if (!answer.undefined.empty()) return answer;
  const double from = mean(before.value);
  answer.event_s = static_cast<double>(*input.window.event_ps) * 1e-12;
  answer.end = end.value;
  for (std::size_t k = 0; k < answer.series.value.size(); ++k) {
    const double off = std::fabs(answer.series.value[k] - from);
    if (off <= answer.most) continue;
    answer.most = off;
    answer.change = k > 0 ? std::fabs(answer.series.value[k] - answer.series.value[k - 1]) : off;
  }
  if (answer.most <= 4.0 * float_resolution(std::fabs(from)))
    answer.undefined = "the speed did not move";
  return answer;
}

struct Turn {
  double mean = 0.0, spread = 0.0;
};

}  // namespace

Measurement speed_rise_time(const MeasureInput& input) { return rise_time(input, Signal::speed); }
Measurement speed_overshoot(const MeasureInput& input) { return overshoot(input, Signal::speed); }
Measurement speed_settling_time(const MeasureInput& input) {
  return settling_time(input, Signal::speed);
}
Measurement current_rise_time(const MeasureInput& input) {
  return rise_time(input, Signal::current_q);
}
Measurement current_overshoot(const MeasureInput& input) {
  return overshoot(input, Signal::current_q);
}
Measurement current_settling_time(const MeasureInput& input) {
  return settling_time(input, Signal::current_q);
}

Measurement speed_deviation(const MeasureInput& input) {
  const Disturbance disturbed = disturbance(input);
  if (!disturbed.undefined.empty()) return undefined(disturbed.undefined);
  Measurement answer;
  answer.value = disturbed.most;
  answer.uncertainty = disturbed.change + float_resolution(std::fabs(disturbed.end));
  return answer;
}

Measurement speed_recovery_time(const MeasureInput& input) {
  const Disturbance disturbed = disturbance(input);
  if (!disturbed.undefined.empty()) return undefined(disturbed.undefined);
  const auto& value = disturbed.series.value;
  std::size_t outside = value.size();
  while (outside > 0 && std::fabs(value[outside - 1] - disturbed.end) <= 0.1 * disturbed.most)
    --outside;
  Measurement time;
  const bool never =
      outside + static_cast<std::size_t>(settled_share * static_cast<double>(value.size())) >=
      value.size();
  const double last_s = never         ? disturbed.series.at_s(value.size() - 1)
                        : outside > 0 ? disturbed.series.at_s(outside - 1)
                                      : disturbed.event_s;
  time.value = std::max(0.0, last_s - disturbed.event_s);
  time.at_least = never;
  time.uncertainty = disturbed.series.step_s;
  return time;
}

Measurement start_up_time(const MeasureInput& input) {
  const Series speed = points(input, Signal::speed);
  const Settled end = settled(speed);
  if (!end.undefined.empty()) return undefined(end.undefined);
  const double size = std::fabs(end.value), first = speed.value.front() * (end.value < 0 ? -1 : 1);
  if (first >= 0.5 * size) {
    return undefined("it turns at " + shown(Signal::speed, speed.value.front()) +
                     " already when the window begins, against " + shown(Signal::speed, end.value) +
                     " at its end");
  }
  if (std::fabs(end.drift) > most_drift * size) {
    return undefined("the speed had not settled: in the window's last fifth it still changed by " +
                     shown(Signal::speed, end.drift) + ". Let the window last longer");
  }
  constexpr double share = 0.95;
  std::size_t k = 0;
  while (k + 1 < speed.value.size() && speed.value[k] / end.value < share) ++k;
  const double origin_s = static_cast<double>(input.window.from_ps) * 1e-12;
  Measurement time;
  time.value = speed.at_s(k) - origin_s;
  // How long the speed takes for what its end is in doubt by.
  const double slope = k > 0 ? std::fabs(speed.value[k] - speed.value[k - 1]) / speed.step_s : 0.0;
  time.uncertainty = speed.step_s + (slope > 0.0 ? std::fabs(end.drift) / slope : 0.0);
  return time;
}

Measurement lowest_smooth_speed(const MeasureInput& input) {
  constexpr double smooth = 0.2;
  const Series speed = points(input, Signal::speed), angle = points(input, Signal::angle_e);
  if (!speed.undefined.empty()) return undefined(speed.undefined);
  if (!angle.undefined.empty()) return undefined(angle.undefined);
  const double turn = 2.0 * std::numbers::pi * input.record().pole_pairs();
  std::vector<Turn> turns;
  double travelled = 0.0, sum = 0.0, least = HUGE_VAL, greatest = -HUGE_VAL;
  std::size_t count = 0;
  for (std::size_t k = 1; k < speed.value.size(); ++k) {
    travelled += std::remainder(angle.value[k] - angle.value[k - 1], 2.0 * std::numbers::pi);
    const double size = std::fabs(speed.value[k]);
    sum += size;
    ++count;
    least = std::min(least, size);
    greatest = std::max(greatest, size);
    if (std::fabs(travelled) < turn) continue;
    turns.push_back({sum / static_cast<double>(count), greatest - least});
    travelled = sum = 0.0;
    count = 0;
    least = HUGE_VAL;
    greatest = -HUGE_VAL;
  }
  std::sort(turns.begin(), turns.end(),
            [](const Turn& a, const Turn& b) { return a.mean > b.mean; });
  Measurement answer;
  std::size_t good = 0;
  while (good < turns.size() && turns[good].spread <= smooth * turns[good].mean) ++good;
  if (good == 0) {
    return undefined(turns.empty() ? "the rotor does not turn once in the window"
                                   : "not even the fastest turn is smooth to 20 %");
  }
  answer.value = turns[good - 1].mean;
  answer.uncertainty =
      turns[good - 1].spread / std::sqrt(12.0) * 0.5 + float_resolution(answer.value);
  return answer;
}

Measurement current_limit_overshoot(const MeasureInput& input) {
  const GridRange& bins = input.window.inside;
  const auto last = static_cast<std::size_t>(settled_share * static_cast<double>(bins.count));
  if (last < fewest_points / 2)
    return undefined("the window holds too few steps of the record's grid");
  double all = 0.0, end = 0.0, cut = 0.0;
  for (const Signal phase : {Signal::current_U, Signal::current_V, Signal::current_W}) {
    const SpreadStatistics& spread = input.spread(phase);
    if (!spread.undefined.empty()) return undefined(spread.undefined);
    all = std::max({all, std::fabs(spread.least), std::fabs(spread.greatest)});
    cut = std::max(cut, spread.largest_size());
    const std::size_t first = bins.first + bins.count - last;
    const auto least = input.record().least(phase, first, last);
    const auto greatest = input.record().greatest(phase, first, last);
    for (std::size_t k = 0; k < last; ++k)
      end = std::max({end, -double{least[k]}, double{greatest[k]}});
  }
  if (end <= 0.05 * all) {  // both zero, too
    return undefined("in the window's last fifth there is next to no current (" +
                     quantity_text(end, "A", 3) + " of " + quantity_text(all, "A", 3) + ")");
  }
  Measurement answer;
  answer.value = all / end - 1.0;
  answer.uncertainty = (cut - all) / end + 2.0 * float_resolution(1.0 + answer.value);
  return answer;
}

}  // namespace stillrotor
