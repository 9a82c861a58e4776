// Power and energy: what goes into the bridge, comes out at the shaft, returns to the supply, and
// what becomes heat on the way. All from means over the grid's bins.
#include <algorithm>
#include <cmath>

#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// As for torque_mean: a bin's mean is summed by trapezoids over the plant's steps.
constexpr double trapezoid_doubt = 1.5e-3;

const std::string& hole(const MeasureInput& input, std::initializer_list<Signal> signals) {
  for (const Signal signal : signals)
    if (const std::string& why = input.spread(signal).undefined; !why.empty()) return why;
  static const std::string none;
  return none;
}

/// The end of bin k of the window, less half: the middle of two grid points.
std::vector<double> middles(const MeasureInput& input, Signal signal) {
  const GridRange& bins = input.window.inside;
  const std::size_t before = bins.first > 0 ? 1 : 0;
  const auto ends = input.record().values(signal, bins.first - before, bins.count + before);
  std::vector<double> middle(bins.count);
  for (std::size_t k = 0; k < bins.count; ++k) {
    const double end = double{ends[k + before]};
    middle[k] = k + before > 0 ? 0.5 * (end + double{ends[k + before - 1]}) : end;
  }
  return middle;
}

/// Sums power(k) [W] with its doubt(k) [W] over the bins of the window to an energy [J].
template <class Power>
Measurement energy(const MeasureInput& input, Power&& power) {
  const GridRange& bins = input.window.inside;
  double sum = 0.0, doubt = 0.0, largest = 0.0;
  for (std::size_t k = 0; k < bins.count; ++k) {
    const auto [value_W, doubt_W] = power(k);
    sum += value_W;
    doubt += doubt_W;
    largest = std::max(largest, std::fabs(value_W) + doubt_W);
  }
  if (!std::isfinite(sum)) return undefined("the record holds values that are not numbers");
  const double bin_s = 1.0 / input.record().rate_Hz();
  Measurement answer;
  answer.value = sum * bin_s;
  answer.uncertainty = doubt * bin_s +
                       (1.0 - input.window.covered) * input.window.seconds() * largest +
                       float_resolution(std::fabs(answer.value));
  return answer;
}

struct Watt {
  double value, doubt;
};

double whole_bins_s(const MeasureInput& input) {
  return static_cast<double>(input.window.inside.count) / input.record().rate_Hz();
}
Measurement over_time(const MeasureInput& input, Measurement energy) {
  energy.value /= whole_bins_s(input);
  energy.uncertainty /= whole_bins_s(input);
  return energy;
}
Measurement over_window(const MeasureInput& input, Measurement power) {
  power.value *= whole_bins_s(input);
  power.uncertainty *= input.window.seconds();
  return power;
}

}  // namespace

Measurement input_energy(const MeasureInput& input) {
  Measurement power = mean_of_means(input.record(), Signal::bridge_power, input.window);
  return power.undefined.empty() ? over_window(input, power) : power;
}

Measurement returned_energy(const MeasureInput& input) {
  if (const auto& why = hole(input, {Signal::bus_voltage, Signal::bus_current}); !why.empty())
    return undefined(why);
  const GridRange& bins = input.window.inside;
  const auto volts = middles(input, Signal::bus_voltage);
  const auto mean_A = input.record().values(Signal::bus_current_mean, bins.first, bins.count);
  const auto low_V = input.record().least(Signal::bus_voltage, bins.first, bins.count);
  const auto high_V = input.record().greatest(Signal::bus_voltage, bins.first, bins.count);
  const auto low_A = input.record().least(Signal::bus_current, bins.first, bins.count);
  const auto high_A = input.record().greatest(Signal::bus_current, bins.first, bins.count);
  return energy(input, [&](std::size_t k) {
    const double low = double{low_A[k]}, high = double{high_A[k]};
    if (low >= 0.0) return Watt{0.0, 0.0};
    const double spread_V = double{high_V[k]} - double{low_V[k]};
    if (high <= 0.0) {
      const double back_A = -double{mean_A[k]};
      return Watt{volts[k] * back_A, (step_doubt * volts[k] + 0.5 * spread_V) * back_A};
    }
    // The part below nothing of a straight ramp from the least to the greatest value.
    return Watt{volts[k] * 0.5 * low * low / (high - low), volts[k] * 0.5 * (high - low)};
  });
}

Measurement shaft_energy(const MeasureInput& input) {
  if (const auto& why = hole(input, {Signal::torque}); !why.empty()) return undefined(why);
  const GridRange& bins = input.window.inside;
  const auto torque_Nm = input.record().values(Signal::torque_mean, bins.first, bins.count);
  const auto low_Nm = input.record().least(Signal::torque, bins.first, bins.count);
  const auto high_Nm = input.record().greatest(Signal::torque, bins.first, bins.count);
  const auto speed = middles(input, Signal::speed);
  return energy(input, [&](std::size_t k) {
    const double spread = double{high_Nm[k]} - double{low_Nm[k]};
    return Watt{double{torque_Nm[k]} * speed[k], trapezoid_doubt * spread * std::fabs(speed[k])};
  });
}

Measurement efficiency(const MeasureInput& input) {
  const Measurement in = input_energy(input), out = shaft_energy(input);
  for (const Measurement* one : {&in, &out})
    if (!one->undefined.empty()) return *one;
  const bool drives = in.value > 0.0 && out.value > 0.0, brakes = in.value < 0.0 && out.value < 0.0;
  if (!drives && !brakes) {
    return undefined("the bridge takes " + quantity_text(in.value, "J", 4) +
                     " and the shaft gets " + quantity_text(out.value, "J", 4) +
                     ": nothing flows through");
  }
  const Measurement &from = drives ? in : out, &to = drives ? out : in;
  if (std::fabs(from.value) <= 2.0 * from.uncertainty)
    return undefined("the energy is no larger than its uncertainty");
  Measurement answer;
  answer.value = to.value / from.value;
  answer.uncertainty = (to.uncertainty + answer.value * from.uncertainty) / std::fabs(from.value);
  return answer;
}

Measurement copper_loss(const MeasureInput& input) {
  return mean_of_means(input.record(), Signal::loss_winding, input.window);
}

Measurement rotor_loss(const MeasureInput& input) {
  if (!input.record().losses().rotor)
    return undefined("the bench's machine has no cage in which a current could flow");
  return mean_of_means(input.record(), Signal::loss_rotor, input.window);
}

Measurement iron_loss(const MeasureInput& input) {
  if (!input.record().losses().iron)
    return undefined("the bench gives its machine no iron losses (machine.iron_loss.power)");
  return mean_of_means(input.record(), Signal::loss_iron, input.window);
}

Measurement conduction_loss(const MeasureInput& input) {
  return mean_of_means(input.record(), Signal::loss_conduction, input.window);
}

Measurement switching_loss(const MeasureInput& input) {
  if (!input.record().losses().switching)
    return undefined(
        "the bench's switches cost nothing to switch (bridge.switching, "
        "bridge.output_capacitance)");
  return mean_of_means(input.record(), Signal::loss_switching, input.window);
}

Measurement friction_loss(const MeasureInput& input) {
  return mean_of_means(input.record(), Signal::loss_friction, input.window);
}

Measurement remaining_loss(const MeasureInput& input) {
  const Measurement in = input_energy(input), out = shaft_energy(input),
                    copper = copper_loss(input);
  for (const Measurement* one : {&in, &out, &copper})
    if (!one->undefined.empty()) return *one;
  Measurement rest;
  rest.value = in.value - out.value;
  rest.uncertainty = in.uncertainty + out.uncertainty;
  rest = over_time(input, rest);
  rest.value -= copper.value;
  rest.uncertainty += copper.uncertainty;
  return rest;
}

}  // namespace stillrotor
