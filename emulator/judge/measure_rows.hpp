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
  int phase = all_phases;          // 0 U, 1 V, 2 W; all_phases: the worst of the three
  std::string_view argument = {};  // of those that ask for one

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
Measurement measure(Evidence&, std::string_view name, std::string_view signal, const Window&,
                    std::string_view argument = {});

/// The unit of a limit on time_to_gates_off that counts how far the rotor turns, not how long.
inline constexpr std::string_view electrical_turns = "electrical turns";

inline Measurement undefined(std::string why) {
  Measurement measurement;
  measurement.undefined = std::move(why);
  return measurement;
}

// measures_currents.cpp
Measurement phase_current_unbalance(const MeasureInput&);
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
Measurement shoot_through_time(const MeasureInput&);
Measurement shortest_pulse(const MeasureInput&);
Measurement dead_time_median(const MeasureInput&);
Measurement dead_time_p1(const MeasureInput&);
Measurement pwm_jitter(const MeasureInput&);
Measurement pwm_frequency(const MeasureInput&);
Measurement smallest_dead_time(const MeasureInput&);
Measurement shoot_through_count(const MeasureInput&);
Measurement time_to_gates_off(const MeasureInput&);
Measurement turns_to_gates_off(const MeasureInput&);
// measures_harmonics.cpp
Measurement phase_current_harmonic(const MeasureInput&);
Measurement phase_current_distortion(const MeasureInput&);
Measurement torque_harmonic(const MeasureInput&);
// measures_axes.cpp
Measurement current_d_mean(const MeasureInput&);
Measurement current_q_mean(const MeasureInput&);
Measurement torque_per_ampere(const MeasureInput&);
Measurement distance_from_best_torque(const MeasureInput&);
// measures_energy.cpp
Measurement input_energy(const MeasureInput&);
Measurement shaft_energy(const MeasureInput&);
Measurement returned_energy(const MeasureInput&);
Measurement efficiency(const MeasureInput&);
Measurement copper_loss(const MeasureInput&);
Measurement rotor_loss(const MeasureInput&);
Measurement iron_loss(const MeasureInput&);
Measurement conduction_loss(const MeasureInput&);
Measurement switching_loss(const MeasureInput&);
Measurement friction_loss(const MeasureInput&);
Measurement remaining_loss(const MeasureInput&);
// measures_lamp.cpp
Measurement blink_code(const MeasureInput&);
// measures_commutation.cpp
Measurement modulation_index(const MeasureInput&);
Measurement commutation_error_mean(const MeasureInput&);
Measurement commutation_error_spread(const MeasureInput&);
// measures_response.cpp
Measurement lowest_smooth_speed(const MeasureInput&);
Measurement start_up_time(const MeasureInput&);
Measurement current_limit_overshoot(const MeasureInput&);
Measurement speed_rise_time(const MeasureInput&);
Measurement speed_overshoot(const MeasureInput&);
Measurement speed_settling_time(const MeasureInput&);
Measurement current_rise_time(const MeasureInput&);
Measurement current_overshoot(const MeasureInput&);
Measurement current_settling_time(const MeasureInput&);
Measurement speed_deviation(const MeasureInput&);
Measurement speed_recovery_time(const MeasureInput&);
// measures_reaction.cpp
Measurement time_to_zero_torque(const MeasureInput&);
Measurement restarts(const MeasureInput&);
Measurement bus_overvoltage(const MeasureInput&);
Measurement time_to_contactor_closed(const MeasureInput&);
Measurement time_to_contactor_open(const MeasureInput&);
Measurement chopper_on_time(const MeasureInput&);
Measurement lamp_lit_time(const MeasureInput&);
Measurement temperature_winding_max(const MeasureInput&);
Measurement temperature_magnet_max(const MeasureInput&);
Measurement temperature_heatsink_max(const MeasureInput&);
Measurement temperature_junction_max(const MeasureInput&);
// measures_text.cpp
Measurement text_matches(const MeasureInput&);
Measurement text_number(const MeasureInput&);
// measures_supply.cpp
Measurement supply_swing(const MeasureInput&);
Measurement supply_swing_frequency(const MeasureInput&);

}  // namespace stillrotor
