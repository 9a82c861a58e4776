// Currents and the bus: extremes from the least and greatest values of every bin, means from means
// over it.
#include <algorithm>
#include <cmath>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// Root of a signal that holds each bin's mean square.
Measurement root_of(const MeasureInput& input, Signal squares) {
  const Measurement square = mean_of_means(input.record(), squares, input.window);
  if (!square.undefined.empty()) return square;
  const double doubt = square.uncertainty;
  Measurement rms;
  rms.value = std::sqrt(square.value);
  rms.uncertainty = std::max(std::sqrt(square.value + doubt) - rms.value,
                             rms.value - std::sqrt(std::max(0.0, square.value - doubt)));
  return rms;
}

/// Applies `what` to the phase asked for, or to all three: the largest then lies between the
/// largest lower and the largest upper bound.
template <class What>
Measurement over_phases(const MeasureInput& input, What&& what) {
  if (input.phase != all_phases) return what(input.phase);
  double low = 0.0, high = 0.0;
  for (int phase = 0; phase < 3; ++phase) {
    const Measurement one = what(phase);
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

Measurement phase_current_peak(const MeasureInput& input) {
  constexpr Signal of[] = {Signal::current_U, Signal::current_V, Signal::current_W};
  return over_phases(input, [&](int phase) { return peak_of(input.spread(of[phase])); });
}

Measurement phase_current_rms(const MeasureInput& input) {
  constexpr Signal of[] = {Signal::current_square_U, Signal::current_square_V,
                           Signal::current_square_W};
  return over_phases(input, [&](int phase) { return root_of(input, of[phase]); });
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
  return mean_of_means(input.record(), Signal::bus_current_mean, input.window);
}
Measurement bus_current_peak(const MeasureInput& input) {
  return peak_of(input.spread(Signal::bus_current));
}

}  // namespace stillrotor
