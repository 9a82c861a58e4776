// Currents in the rotor's axes, and how well they are used.
// Source  maximum torque per ampere in closed form: Morimoto, Takeda, Hirasa, Taniguchi, "Expansion
//         of operating limits for permanent magnet motor by current vector control considering
//         inverter capacity", IEEE Trans. Industry Applications 26 (1990), eq. for i_d over i_a;
//         cited from memory, derived anew in the test.
#include <algorithm>
#include <cmath>

#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

Measurement mean_of_points(const MeasureInput& input, Signal signal) {
  const Series series = smoothed(input, signal);
  if (!series.undefined.empty()) return undefined(series.undefined);
  const auto [least, greatest] = std::minmax_element(series.value.begin(), series.value.end());
  const auto count = static_cast<double>(series.value.size());
  double change = 0.0;
  for (std::size_t k = 1; k < series.value.size(); ++k)
    change += std::fabs(series.value[k] - series.value[k - 1]);
  Measurement answer;
  answer.value = mean(series.value);
  // Between two points it may lie anywhere their change suggests; the two ends of the window.
  answer.uncertainty = 0.5 * change / count + (*greatest - *least) / count +
                       float_resolution(std::max(std::fabs(*least), std::fabs(*greatest)));
  return answer;
}

}  // namespace

Measurement current_d_mean(const MeasureInput& input) {
  return mean_of_points(input, Signal::current_d);
}
Measurement current_q_mean(const MeasureInput& input) {
  return mean_of_points(input, Signal::current_q);
}

Measurement torque_per_ampere(const MeasureInput& input) {
  const Measurement torque = torque_mean(input), d = current_d_mean(input),
                    q = current_q_mean(input);
  for (const Measurement* one : {&torque, &d, &q})
    if (!one->undefined.empty()) return *one;
  const double current = std::hypot(d.value, q.value);
  const double doubt = std::hypot(d.uncertainty, q.uncertainty);
  if (current <= 2.0 * doubt) {
    return undefined("the mean current is only " + quantity_text(current, "A", 3) +
                     ": a ratio to it says nothing");
  }
  Measurement answer;
  answer.value = std::fabs(torque.value) / current;
  answer.uncertainty = (torque.uncertainty + answer.value * doubt) / current;
  return answer;
}

Measurement distance_from_best_torque(const MeasureInput& input) {
  const auto& machine = input.record().machine();
  if (!machine) {
    return undefined(
        "the record names no constant inductances and flux linkage of this machine (an induction "
        "machine, a flux map, unequal windings)");
  }
  const Measurement d = current_d_mean(input), q = current_q_mean(input);
  for (const Measurement* one : {&d, &q})
    if (!one->undefined.empty()) return *one;
  const double saliency_H = machine->inductance_d_H - machine->inductance_q_H;
  const double flux_Wb = machine->flux_linkage_Wb;
  const auto torque = [&](double i_d, double i_q) { return (flux_Wb + saliency_H * i_d) * i_q; };
  const auto distance = [&](double i_d, double i_q) {
    const double size = std::hypot(i_d, i_q);
    const double root = std::sqrt(flux_Wb * flux_Wb + 8.0 * saliency_H * saliency_H * size * size);
    // (-flux + root) / (4 saliency), without its pole where there is no saliency.
    const double best_d = 2.0 * saliency_H * size * size / (flux_Wb + root);
    const double best_q = std::sqrt(std::max(0.0, size * size - best_d * best_d));
    return 1.0 - std::fabs(torque(i_d, i_q)) / torque(best_d, best_q);
  };
  if (std::hypot(d.value, q.value) <= 2.0 * std::hypot(d.uncertainty, q.uncertainty))
    return undefined("there is next to no mean current to compare");
  Measurement answer;
  answer.value = distance(d.value, q.value);
  for (const double sd : {-1.0, 1.0})
    for (const double sq : {-1.0, 1.0})
      answer.uncertainty =
          std::max(answer.uncertainty,
                   std::fabs(distance(d.value + sd * d.uncertainty, q.value + sq * q.uncertainty) -
                             answer.value));
  answer.uncertainty += 1e-6;
  return answer;
}

}  // namespace stillrotor
