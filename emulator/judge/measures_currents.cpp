// Currents and the bus: all from the least and greatest values of every bin.
#include <algorithm>
#include <cmath>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

Measurement rms_of(const SpreadStatistics& statistics, const Stretch& window) {
  if (!statistics.undefined.empty()) return undefined(statistics.undefined);
  const double largest = statistics.largest_size();
  // What the part of the window outside whole bins could add to the mean square at most.
  const double doubt = statistics.mean_square_doubt + (1.0 - window.covered) * largest * largest;
  Measurement rms;
  rms.value = std::sqrt(statistics.mean_square);
  rms.uncertainty = std::max(std::sqrt(statistics.mean_square + doubt) - rms.value,
                             rms.value - std::sqrt(std::max(0.0, statistics.mean_square - doubt))) +
                    float_resolution(largest);
  return rms;
}

/// Applies `what` to the phase asked for, or to all three: the largest then lies between the
/// largest lower and the largest upper bound.
template <class What>
Measurement over_phases(const MeasureInput& input, What&& what) {
  constexpr Signal phases[] = {Signal::current_U, Signal::current_V, Signal::current_W};
  if (input.phase != all_phases) {
    return what(input.spread(phases[input.phase]));
  }
  double low = 0.0, high = 0.0;
  for (const Signal phase : phases) {
    const Measurement one = what(input.spread(phase));
    if (!one.undefined.empty()) return one;
    low = std::max(low, one.value - one.uncertainty);
    high = std::max(high, one.value + one.uncertainty);
  }
  Measurement worst;
  worst.value = 0.5 * (low + high);
  worst.uncertainty = 0.5 * (high - low);
  return worst;
}

}  // namespace

Measurement phase_current_peak(const MeasureInput& input) { return over_phases(input, peak_of); }

Measurement phase_current_rms(const MeasureInput& input) {
  return over_phases(input, [&](const SpreadStatistics& s) { return rms_of(s, input.window); });
}

Measurement phase_current_unbalance(const MeasureInput& input) {
  double sum = 0.0, uncertainty = 0.0, rms[3];
  for (int phase = 0; phase < 3; ++phase) {
    const Measurement one = phase_current_rms({input.evidence, input.window, phase});
    if (!one.undefined.empty()) return one;
    rms[phase] = one.value;
    sum += one.value;
    uncertainty = std::max(uncertainty, one.uncertainty);
  }
  const double mean = sum / 3.0;
  if (mean <= 2.0 * uncertainty) {
    return undefined("the currents' mean is only " + quantity_text(mean, "A", 3) +
                     ": a ratio to it says nothing");
  }
  Measurement unbalance;
  for (const double one : rms)
    unbalance.value = std::max(unbalance.value, std::fabs(one - mean) / mean);
  // A phase's rms and the mean of three may both be off.
  unbalance.uncertainty = (2.0 + unbalance.value) * uncertainty / mean;
  return unbalance;
}

Measurement bus_voltage_min(const MeasureInput& input) {
  return least_of(input.spread(Signal::bus_voltage));
}
Measurement bus_voltage_max(const MeasureInput& input) {
  return greatest_of(input.spread(Signal::bus_voltage));
}
Measurement bus_current_mean(const MeasureInput& input) {
  return mean_of(input.spread(Signal::bus_current), input.window);
}
Measurement bus_current_peak(const MeasureInput& input) {
  return peak_of(input.spread(Signal::bus_current));
}

}  // namespace stillrotor
