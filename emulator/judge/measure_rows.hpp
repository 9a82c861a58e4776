// The functions behind the measure table. One row each; to add one, see docs/recipes.
#pragma once

#include <string_view>

#include "emulator/judge/evidence.hpp"
#include "emulator/judge/judge.hpp"
#include "emulator/judge/stretch.hpp"

namespace stillrotor {

inline constexpr int all_phases = -1;

struct MeasureInput {
  Evidence& evidence;
  const Stretch& window;
  int phase = all_phases;  // 0 U, 1 V, 2 W; all_phases: the worst of the three

  const RecordReader& record() const { return evidence.record(); }
  // Over the window; computed once, however many measures ask.
  const SpreadStatistics& spread(Signal signal) const { return evidence.spread(signal, window); }
  const SpeedStatistics& speed() const { return evidence.speed(window); }
  const GateStatistics& gates() const { return evidence.gates(window); }
};

/// Fills value, uncertainty, at_least or undefined; the caller fills the window. May throw
/// std::runtime_error where the record cannot be read.
using Compute = Measurement (*)(const MeasureInput&);

struct MeasureRow {
  MeasureInfo info;
  Compute compute;
};
const MeasureRow* find_measure(std::string_view name) noexcept;

/// As judge.hpp's measure(), with what other measures have taken from the record already.
Measurement measure(Evidence&, std::string_view name, std::string_view signal, const Window&);

/// The unit of a limit on time_to_gates_off that counts how far the rotor turns, not how long.
inline constexpr std::string_view electrical_turns = "electrical turns";

inline Measurement undefined(std::string why) {
  Measurement measurement;
  measurement.undefined = std::move(why);
  return measurement;
}

// measures_currents.cpp
Measurement phase_current_peak(const MeasureInput&);
Measurement phase_current_rms(const MeasureInput&);
Measurement bus_voltage_min(const MeasureInput&);
Measurement bus_voltage_max(const MeasureInput&);
Measurement bus_current_mean(const MeasureInput&);
Measurement bus_current_peak(const MeasureInput&);
// measures_motion.cpp
Measurement torque_mean(const MeasureInput&);
Measurement torque_ripple(const MeasureInput&);
Measurement torque_ripple_with_switching(const MeasureInput&);
Measurement speed_mean(const MeasureInput&);
Measurement speed_min(const MeasureInput&);
Measurement speed_max(const MeasureInput&);
// measures_gates.cpp
Measurement pwm_frequency(const MeasureInput&);
Measurement smallest_dead_time(const MeasureInput&);
Measurement shoot_through_count(const MeasureInput&);
Measurement time_to_gates_off(const MeasureInput&);
Measurement turns_to_gates_off(const MeasureInput&);

}  // namespace stillrotor
