// What happens after an event, on the bus and at the lines; heat.
#include <algorithm>
#include <cmath>

#include "emulator/judge/leg_changes.hpp"
#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr double stamp_s = 1e-12;
constexpr double before_s = 20e-3;
constexpr std::int64_t rest_ps = 5'000'000'000;  // as for time_to_gates_off
constexpr const char* no_event = "it counts from an event: name one with `after`";

double seconds(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

/// From the event to the instant from which a line keeps this level until the window's end.
Measurement time_to_level(const MeasureInput& input, io::LineId line, bool wanted) {
  if (!input.window.event_ps) return undefined(no_event);
  const auto number = static_cast<std::uint16_t>(line);
  bool level = input.record().initially_high(number);
  std::int64_t since_ps = 0;
  for (EdgeStream edge(input.record(), number); !edge.done() && edge.at_ps() <= input.window.to_ps;
       edge.step()) {
    if (edge.level() == level) continue;
    level = edge.level();
    since_ps = edge.at_ps();
  }
  Measurement time;
  time.uncertainty = stamp_s;
  if (level != wanted) {
    time.value = seconds(input.window.to_ps - *input.window.event_ps);
    time.at_least = true;
  } else if (since_ps < *input.window.event_ps) {
    return undefined(std::string("the line ") + std::string(io::name(line)) + " was " +
                     (wanted ? "high" : "low") + " already when it happened");
  } else {
    time.value = seconds(since_ps - *input.window.event_ps);
  }
  return time;
}

Measurement highest(const MeasureInput& input, Signal signal) {
  const Series series = points(input, signal);
  if (!series.undefined.empty()) return undefined(series.undefined);
  const auto top = std::max_element(series.value.begin(), series.value.end());
  const auto k = static_cast<std::size_t>(top - series.value.begin());
  Measurement answer;
  answer.value = *top;
  const double before = k > 0 ? std::fabs(*top - series.value[k - 1]) : 0.0;
  const double after = k + 1 < series.value.size() ? std::fabs(*top - series.value[k + 1]) : 0.0;
  answer.uncertainty = std::max(before, after) + float_resolution(*top);
  return answer;
}

Measurement time_high(const MeasureInput& input, io::LineId line) {
  const auto number = static_cast<std::uint16_t>(line);
  bool on = input.record().initially_high(number);
  std::int64_t since_ps = 0, sum_ps = 0;
  std::size_t changes = 0;
  const auto add = [&](std::int64_t until_ps) {
    if (on)
      sum_ps += std::max<std::int64_t>(0, until_ps - std::max(since_ps, input.window.from_ps));
    since_ps = until_ps;
  };
  for (EdgeStream edge(input.record(), number); !edge.done() && edge.at_ps() <= input.window.to_ps;
       edge.step()) {
    add(edge.at_ps());
    on = edge.level();
    ++changes;
  }
  add(input.window.to_ps);
  Measurement time;
  time.value = seconds(sum_ps);
  time.uncertainty = static_cast<double>(changes) * stamp_s;
  return time;
}

}  // namespace

Measurement time_to_zero_torque(const MeasureInput& input) {
  constexpr double share = 0.05;
  const Series before = before_event(input, Signal::torque_mean, before_s);
  if (!before.undefined.empty()) return undefined(before.undefined);
  const Series torque = points(input, Signal::torque_mean);
  if (!torque.undefined.empty()) return undefined(torque.undefined);
  const double level = std::fabs(mean(before.value));
  double scatter = 0.0;
  for (const double one : before.value)
    scatter = std::max(scatter, std::fabs(std::fabs(one) - level));
  if (level <= 1e-3 || level <= share * scatter)
    return undefined("there was no torque before it, so there was nothing to time");
  std::size_t acting = torque.value.size();
  while (acting > 0 && std::fabs(torque.value[acting - 1]) <= share * level) --acting;
  const double event_s = seconds(*input.window.event_ps);
  Measurement time;
  time.uncertainty = torque.step_s;
  if (acting == torque.value.size()) {
    time.value = seconds(input.window.to_ps) - event_s;
    time.at_least = true;
    return time;
  }
  // A value is the mean of the bin that ends at its point: the last one to act had half its bin.
  const double last_s = acting > 0 ? torque.at_s(acting - 1) - 0.5 * torque.step_s : event_s;
  if (seconds(input.window.to_ps) - last_s < seconds(rest_ps)) {
    return undefined("torque ended only " +
                     quantity_text(seconds(input.window.to_ps) - last_s, "s", 4) +
                     " before the window's end; it must rest " +
                     quantity_text(seconds(rest_ps), "s") + ". Let the scenario last longer");
  }
  time.value = std::max(0.0, last_s - event_s);
  return time;
}

Measurement restarts(const MeasureInput& input) {
  if (!input.window.event_ps) return undefined(no_event);
  // All gates together: when the first goes on, when the last goes off.
  std::vector<std::pair<std::int64_t, int>> changes;
  int on = 0;
  for (std::uint16_t gate = 0; gate < gate_count; ++gate) {
    bool level = input.record().initially_high(gate);
    on += level ? 1 : 0;
    for (EdgeStream edge(input.record(), gate); !edge.done() && edge.at_ps() <= input.window.to_ps;
         edge.step()) {
      if (edge.level() == level) continue;
      level = edge.level();
      changes.emplace_back(edge.at_ps(), level ? 1 : -1);
    }
  }
  std::sort(changes.begin(), changes.end());  // at one instant off before on
  std::int64_t off_ps = 0;
  bool rested = false;
  Measurement answer;
  const auto rest_until = [&](std::int64_t until_ps) {
    const std::int64_t from_ps = std::max(off_ps, *input.window.event_ps);
    return until_ps - from_ps >= rest_ps;
  };
  for (const auto& [at_ps, change] : changes) {
    if (on == 0 && change > 0 && at_ps > *input.window.event_ps && rest_until(at_ps)) {
      rested = true;
      answer.value += 1.0;
    }
    on += change;
    if (on == 0) off_ps = at_ps;
  }
  rested = rested || (on == 0 && rest_until(input.window.to_ps));
  if (!rested) {
    return undefined("after it the gates never rested for " + quantity_text(seconds(rest_ps), "s") +
                     ", so nothing could start again");
  }
  return answer;
}

Measurement bus_overvoltage(const MeasureInput& input) {
  const Series before = before_event(input, Signal::bus_voltage, before_s);
  if (!before.undefined.empty()) return undefined(before.undefined);
  const Measurement top = bus_voltage_max(input);
  if (!top.undefined.empty()) return top;
  const double level = mean(before.value);
  double scatter = 0.0;
  for (const double one : before.value) scatter += std::fabs(one - level);
  Measurement over;
  over.value = top.value - level;
  over.uncertainty = top.uncertainty + scatter / static_cast<double>(before.value.size()) +
                     float_resolution(level);
  return over;
}

Measurement time_to_contactor_closed(const MeasureInput& input) {
  return time_to_level(input, io::line::contactor, true);
}
Measurement time_to_contactor_open(const MeasureInput& input) {
  return time_to_level(input, io::line::contactor, false);
}

Measurement chopper_on_time(const MeasureInput& input) {
  return time_high(input, io::line::brake_chopper);
}
Measurement lamp_lit_time(const MeasureInput& input) { return time_high(input, io::line::lamp); }

Measurement temperature_winding_max(const MeasureInput& input) {
  return highest(input, Signal::temperature_winding);
}
Measurement temperature_magnet_max(const MeasureInput& input) {
  return highest(input, Signal::temperature_magnet);
}
Measurement temperature_heatsink_max(const MeasureInput& input) {
  return highest(input, Signal::temperature_heatsink);
}
Measurement temperature_junction_max(const MeasureInput& input) {
  return highest(input, Signal::temperature_junction);
}

}  // namespace stillrotor
