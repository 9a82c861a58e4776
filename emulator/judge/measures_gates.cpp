// What the six gates do: frequency, dead time, overlaps, and how soon they rest.
#include <algorithm>
#include <cmath>
#include <limits>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"
#include "emulator/record/edge_stream.hpp"

namespace stillrotor {
namespace {

constexpr double stamp_s = 1e-12;  // the record's resolution of an edge
constexpr std::int64_t rest_ps = 5'000'000'000;
constexpr std::size_t fewest_periods = 3;

/// The last moment a gate was on, up to `until_ps`; now-or-later is on: no such moment yet.
struct LastOn {
  bool still_on = false;
  std::int64_t off_at_ps = std::numeric_limits<std::int64_t>::min();  // min: was never on
};
LastOn last_on(const RecordReader& record, std::uint16_t gate, std::int64_t until_ps) {
  LastOn answer;
  answer.still_on = record.initially_high(gate);
  for (EdgeStream edge(record, gate); !edge.done() && edge.at_ps() <= until_ps; edge.step()) {
    if (answer.still_on && !edge.level()) answer.off_at_ps = edge.at_ps();
    answer.still_on = edge.level();
  }
  return answer;
}

/// When all gates came to rest after the window's event.
struct Rest {
  std::int64_t at_ps = 0;
  bool reached = false;  // false: at_ps is the window's end
  std::string undefined;
};
Rest find_rest(const MeasureInput& input) {
  const Stretch& window = input.window;
  Rest rest;
  if (!window.event_ps) {
    rest.undefined = "it counts from an event: name one with `after`";
    return rest;
  }
  bool still_on = false;
  std::int64_t off_at_ps = std::numeric_limits<std::int64_t>::min();
  for (std::uint16_t gate = 0; gate < gate_count; ++gate) {
    const LastOn one = last_on(input.record(), gate, window.to_ps);
    still_on = still_on || one.still_on;
    off_at_ps = std::max(off_at_ps, one.off_at_ps);
  }
  if (still_on) {
    rest.at_ps = window.to_ps;
    return rest;
  }
  if (off_at_ps < *window.event_ps) {  // at one instant a fault comes before what answers it
    rest.undefined = "all gates were off already when it happened, so there was nothing to time";
  } else if (window.to_ps - off_at_ps < rest_ps) {
    rest.undefined = "the gates went off only " +
                     quantity_text(static_cast<double>(window.to_ps - off_at_ps) * 1e-12, "s", 4) +
                     " before the window's end; rest needs " +
                     quantity_text(static_cast<double>(rest_ps) * 1e-12, "s") +
                     ". Let the scenario last longer";
  }
  rest.at_ps = off_at_ps;
  rest.reached = true;
  return rest;
}

}  // namespace

Measurement pwm_frequency(const MeasureInput& input) {
  const GateStatistics& gates = input.gates();
  if (gates.rises < fewest_periods + 1) {
    return undefined("no gate rose more than " + std::to_string(gates.rises) +
                     " times in the window; a period needs at least " +
                     std::to_string(fewest_periods + 1));
  }
  const auto median = static_cast<double>(gates.median_ps);
  const auto quartiles = static_cast<double>(gates.quartiles_apart_ps);
  // Standard error of a median of normal values, 1.2533 sigma / sqrt n, sigma = quartiles / 1.349;
  // twice that.
  const double error_ps =
      2.0 * 1.2533 / 1.349 * quartiles / std::sqrt(static_cast<double>(gates.rises - 1)) + 1.0;
  Measurement frequency;
  frequency.value = 1e12 / median;
  frequency.uncertainty = frequency.value * error_ps / median;
  return frequency;
}

Measurement pwm_jitter(const MeasureInput& input) {
  const GateStatistics& gates = input.gates();
  if (const Measurement frequency = pwm_frequency(input); !frequency.undefined.empty())
    return frequency;
  // Standard deviation of normal values from their quartiles; that of a standard deviation.
  const double sigma_s = static_cast<double>(gates.steadiest_quartiles_apart_ps) * stamp_s / 1.349;
  Measurement jitter;
  jitter.value = sigma_s;
  jitter.uncertainty =
      stamp_s + 2.0 * 1.17 * sigma_s / std::sqrt(2.0 * static_cast<double>(gates.rises - 1));
  return jitter;
}

/// The dead time that this share of all of them fall short of.
Measurement dead_time_at(const MeasureInput& input, double share) {
  const auto& all = input.gates().dead_times_ps;
  if (all.empty()) return undefined("no leg changes from one switch to the other in the window");
  const auto at = static_cast<std::size_t>(share * static_cast<double>(all.size() - 1));
  Measurement dead_time;
  dead_time.value = static_cast<double>(all[at]) * stamp_s;
  dead_time.uncertainty = stamp_s;
  return dead_time;
}
Measurement smallest_dead_time(const MeasureInput& input) { return dead_time_at(input, 0.0); }
Measurement dead_time_p1(const MeasureInput& input) { return dead_time_at(input, 0.01); }
Measurement dead_time_median(const MeasureInput& input) { return dead_time_at(input, 0.5); }

Measurement shortest_pulse(const MeasureInput& input) {
  const GateStatistics& gates = input.gates();
  if (gates.pulses == 0) return undefined("no gate goes on and off again in the window");
  Measurement shortest;
  shortest.value = static_cast<double>(gates.shortest_pulse_ps) * stamp_s;
  shortest.uncertainty = stamp_s;
  return shortest;
}

Measurement shoot_through_time(const MeasureInput& input) {
  const GateStatistics& gates = input.gates();
  Measurement together;
  together.value = static_cast<double>(gates.overlap_ps) * stamp_s;
  together.uncertainty = static_cast<double>(gates.overlaps) * stamp_s;
  return together;
}

Measurement shoot_through_count(const MeasureInput& input) {
  Measurement overlaps;
  overlaps.value = static_cast<double>(input.gates().overlaps);
  return overlaps;
}

Measurement time_to_gates_off(const MeasureInput& input) {
  const Rest rest = find_rest(input);
  if (!rest.undefined.empty()) return undefined(rest.undefined);
  Measurement time;
  time.value = static_cast<double>(rest.at_ps - *input.window.event_ps) * 1e-12;
  time.uncertainty = stamp_s;
  time.at_least = !rest.reached;
  return time;
}

Measurement turns_to_gates_off(const MeasureInput& input) {
  const Rest rest = find_rest(input);
  if (!rest.undefined.empty()) return undefined(rest.undefined);
  const RecordReader& record = input.record();
  // In grid steps; point k stands at k + 1.
  const auto position = [&](std::int64_t at_ps) {
    return static_cast<double>(at_ps) * 1e-12 * record.rate_Hz() - 1.0;
  };
  const double from = position(*input.window.event_ps), to = position(rest.at_ps);
  const auto first = static_cast<std::size_t>(std::max(0.0, std::floor(from)));
  const auto last =
      std::min(static_cast<std::size_t>(std::max(0.0, std::ceil(to))), record.frames() - 1);
  if (record.frames() == 0 || last <= first) {
    return undefined("the record's grid is too coarse to see the rotor turn in between");
  }
  const auto angle = record.values(Signal::angle_e, first, last - first + 1);
  double travelled = 0.0, largest_change = 0.0, step_before = 0.0;
  for (std::size_t k = 0; k + 1 < angle.size(); ++k) {
    const double step =
        std::fabs(std::remainder(double{angle[k + 1]} - double{angle[k]}, 2.0 * M_PI));
    // The share of this step that lies between the two instants.
    const double start = static_cast<double>(first + k);
    const double share = std::clamp(std::min(to, start + 1.0) - std::max(from, start), 0.0, 1.0);
    travelled += share * step;
    if (k > 0) largest_change = std::max(largest_change, std::fabs(step - step_before));
    step_before = step;
  }
  if (!std::isfinite(travelled)) {
    return undefined("the record holds angles that are not numbers");
  }
  Measurement turns;
  turns.value = travelled / (2.0 * M_PI);
  // Straight lines between grid points, at both ends: an eighth of the change of step each; and
  // two angles of up to 2 pi in float32.
  turns.uncertainty = (0.25 * largest_change + 2.0 * float_resolution(2.0 * M_PI)) / (2.0 * M_PI);
  turns.at_least = !rest.reached;
  return turns;
}

}  // namespace stillrotor
