// The one table of measures, and how a row of it is computed.
#include <array>
#include <stdexcept>

#include "emulator/judge/measure_rows.hpp"

namespace stillrotor {
namespace {

using enum Asks;

constexpr std::string_view own = "own definition";

constexpr MeasureRow rows[] = {
    {{"phase_current_peak", "A", true, nothing,
      "Greatest magnitude of a phase current, between grid points too. Uncertainty: grid bins "
      "cut by the window's ends; float32.",
      own},
     phase_current_peak},
    {{"phase_current_rms", "A", true, nothing,
      "Root of the mean square of a phase current over the window. Uncertainty: currents bend "
      "between "
      "two ends of a plant step; cut bins; float32.",
      "root-mean-square value, textbook"},
     phase_current_rms},
    {{"bus_voltage_min", "V", false, nothing,
      "Lowest DC link voltage at the bridge, between grid points too. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_voltage_min},
    {{"bus_voltage_max", "V", false, nothing,
      "Highest DC link voltage at the bridge, between grid points too. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_voltage_max},
    {{"bus_current_mean", "A", false, nothing,
      "Mean current out of the supply; negative: into it. Uncertainty: 1e-3 of the mean of its "
      "size "
      "from bin to bin (it bends between two ends of a plant step); cut bins; float32.",
      own},
     bus_current_mean},
    {{"bus_current_peak", "A", false, nothing,
      "Greatest magnitude of the current out of or into the supply. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_current_peak},
    {{"torque_mean", "N m", false, nothing,
      "Mean electromagnetic torque, from the means over the grid's bins. Uncertainty: bins cut by "
      "the "
      "window's ends; 0.15 % of the torque's range for what bends inside a step; float32.",
      own},
     torque_mean},
    {{"torque_ripple", "1", false, nothing,
      "Peak to peak over the size of the mean of the electromagnetic torque, after a moving "
      "average over one period of the pulse-width modulation (pwm_frequency in the window; one "
      "grid bin where nothing switches), from the means over the grid's bins. Uncertainty: 0.15 % "
      "of the widest bin; where the period is no whole number of bins, the cut bins; that of the "
      "mean.",
      own},
     torque_ripple},
    {{"torque_ripple_with_switching", "1", false, nothing,
      "Peak to peak over the size of the mean of the electromagnetic torque, switching ripple "
      "included. Uncertainty: bins cut by the window's ends; that of the mean.",
      own},
     torque_ripple_with_switching},
    {{"speed_mean", "rad/s", false, nothing,
      "Mean mechanical speed of the motor shaft. Uncertainty: one grid step's share of the "
      "change of speed; float32.",
      own},
     speed_mean},
    {{"speed_min", "rad/s", false, nothing,
      "Lowest speed at a grid point. Uncertainty: the change to the neighbouring points; float32.",
      own},
     speed_min},
    {{"speed_max", "rad/s", false, nothing,
      "Highest speed at a grid point. Uncertainty: the change to the neighbouring points; float32.",
      own},
     speed_max},
    {{"pwm_frequency", "Hz", false, nothing,
      "One over the median time between rising edges of the gate that rises most often. "
      "Uncertainty: twice the standard error of the median, from the quartiles; 1 ps.",
      own},
     pwm_frequency},
    {{"smallest_dead_time", "s", false, nothing,
      "Shortest time, over the three legs, from one switch commanded off to its partner "
      "commanded on; negative: both were on. Uncertainty: 1 ps.",
      own},
     smallest_dead_time},
    {{"shoot_through_count", "1", false, nothing,
      "How often both switches of a leg were commanded on together, for longer than no time. "
      "Exact.",
      own},
     shoot_through_count},
    {{"time_to_gates_off", "s", false, event,
      "From the event that the window hangs on to the instant from which all six gates stay off "
      "until the window's end; they must rest 5 ms. A limit in electrical turns is compared with "
      "how far the rotor turned meanwhile. Uncertainty: 1 ps; of turns, the record's grid.",
      own},
     time_to_gates_off},
    {{"phase_current_unbalance", "1", false, nothing,
      "Largest deviation of a phase current's rms from the mean of the three, over that mean. "
      "Uncertainty: that of the rms values.",
      "unbalance as NEMA MG 1 defines it for voltages, from memory"},
     phase_current_unbalance},
    {{"phase_current_harmonic", "A", true, harmonic,
      "Amplitude of a phase current's harmonic of this order of the electrical frequency, summed "
      "over the angle of whole electrical turns. Uncertainty: what it becomes from every other "
      "grid point; float32.",
      "Fourier series, textbook"},
     phase_current_harmonic},
    {{"phase_current_distortion", "1", true, nothing,
      "Root of the summed squares of the harmonics 2 to 40 (or as far as the grid carries) over "
      "the fundamental, as phase_current_harmonic. Whole turns leave nothing beside the harmonics "
      "to group. Uncertainty: what it becomes from every other grid point.",
      "total harmonic distortion over orders to 40, IEC 61000-4-7, from memory"},
     phase_current_distortion},
    {{"torque_harmonic", "N m", false, harmonic,
      "Amplitude of the electromagnetic torque's harmonic of this order of the electrical "
      "frequency, from the means over the grid's bins, over whole electrical turns. Uncertainty: "
      "what it becomes from every other bin; what a bin's mean takes away; float32.",
      "Fourier series, textbook"},
     torque_harmonic},
    {{"current_d_mean", "A", false, nothing,
      "Mean current on the magnet axis, each grid point averaged over one PWM period. Uncertainty: "
      "half the mean change from point to point; the window's ends; float32.",
      own},
     current_d_mean},
    {{"current_q_mean", "A", false, nothing,
      "Mean current 90 electrical degrees ahead of the magnet axis. Uncertainty: as "
      "current_d_mean.",
      own},
     current_q_mean},
    {{"torque_per_ampere", "N m/A", false, nothing,
      "Size of the mean torque over that of the mean current vector (peak of a phase). "
      "Uncertainty: those of the three means.",
      own},
     torque_per_ampere},
    {{"distance_from_best_torque", "1", false, nothing,
      "Share of torque that the mean current gives away against the best angle for its size, from "
      "the machine's inductances and flux linkage in the record (cold, fundamental). Uncertainty: "
      "that of the mean currents.",
      "maximum torque per ampere, Morimoto et al., IEEE Trans. Ind. Appl. 26 (1990), from memory"},
     distance_from_best_torque},
    {{"input_energy", "J", false, nothing,
      "Energy from the DC link into the bridge, what changes of switches draw included; negative: "
      "out "
      "of it. Uncertainty: voltage and current bend between two ends of a plant step; cut bins; "
      "float32.",
      own},
     input_energy},
    {{"shaft_energy", "J", false, nothing,
      "Mechanical energy of the electromagnetic torque; negative: the shaft drives. Uncertainty: "
      "as torque_mean.",
      own},
     shaft_energy},
    {{"returned_energy", "J", false, nothing,
      "Energy that flowed back into the supply, at the bus voltage; what flowed out of it does not "
      "count against it. Uncertainty: half the voltage's spread in bins that flow back, half the "
      "current's in those that do so in part; cut bins.",
      own},
     returned_energy},
    {{"efficiency", "1", false, nothing,
      "Shaft over input energy while the machine drives, input over shaft energy while it brakes. "
      "What fields and masses store is not taken out: take whole turns, steady. Uncertainty: those "
      "of the energies.",
      own},
     efficiency},
    {{"copper_loss", "W", false, nothing,
      "Mean heat of the three (stator) windings at their temperature, shorts in them included. "
      "Uncertainty: as phase_current_rms.",
      "R i^2, textbook"},
     copper_loss},
    {{"rotor_loss", "W", false, nothing,
      "Mean heat of an induction machine's cage. Undefined for other machines. Uncertainty: as "
      "copper_loss.",
      "R i^2, textbook"},
     rotor_loss},
    {{"iron_loss", "W", false, nothing,
      "Mean heat of the machine's iron. Undefined where the bench gives none. Uncertainty: as "
      "copper_loss.",
      "loss by frequency and flux (machine.iron_loss), textbook"},
     iron_loss},
    {{"conduction_loss", "W", false, nothing,
      "Mean heat of the bridge's switches and diodes while they conduct, shoot-through included. "
      "Uncertainty: as copper_loss.",
      "voltage across a switch times its current, textbook"},
     conduction_loss},
    {{"switching_loss", "W", false, nothing,
      "Mean heat of the bridge's changes of switches: on, off, the diodes' recovery, output "
      "capacitances. Undefined where the bench gives neither. Uncertainty: cut bins; a share of "
      "1e-3 "
      "as for the others, though each change is summed as it happens.",
      "energies in proportion to voltage and current, common practice"},
     switching_loss},
    {{"friction_loss", "W", false, nothing,
      "Mean heat of friction on the shaft and in gear, joint and tyre; rolling resistance and a "
      "pump's "
      "static head count as friction, what else the load takes does not. Uncertainty: as "
      "copper_loss.",
      "torque times speed, textbook"},
     friction_loss},
    {{"remaining_loss", "W", false, nothing,
      "Mean input less shaft power less copper_loss: conduction and switching of the bridge, "
      "rotor, "
      "what a cable on the frame burns there, and what fields gain meanwhile. (Iron losses drag "
      "the shaft: they are out of its power.) "
      "Uncertainty: the sum of theirs.",
      own},
     remaining_loss},
    {{"pwm_jitter", "s", false, nothing,
      "Standard deviation of the PWM period, from the quartiles of the times between rises, falls "
      "or middles of pulses, whichever scatter least. Uncertainty: twice the standard error; 1 ps.",
      own},
     pwm_jitter},
    {{"dead_time_p1", "s", false, nothing,
      "The dead time that one in a hundred falls short of, over the three legs. Uncertainty: 1 ps.",
      own},
     dead_time_p1},
    {{"dead_time_median", "s", false, nothing,
      "The dead time that half of them fall short of. Uncertainty: 1 ps.", own},
     dead_time_median},
    {{"shortest_pulse", "s", false, nothing,
      "Shortest time for which any gate was commanded on, from on to off in the window. "
      "Uncertainty: 1 ps.",
      own},
     shortest_pulse},
    {{"shoot_through_time", "s", false, nothing,
      "How long both switches of a leg were commanded on, all together. Uncertainty: 1 ps each.",
      own},
     shoot_through_time},
    {{"modulation_index", "1", false, nothing,
      "Amplitude of the fundamental of the commanded pole voltages over half the bus, in the "
      "rotor's frame over whole electrical turns; a leg that is off counts as half the bus. "
      "Uncertainty: a PWM period cut at each end.",
      "modulation index of a fundamental, textbook"},
     modulation_index},
    {{"commutation_error_mean", "rad", false, nothing,
      "Six-step drives: how much later than ideal, in electrical angle, legs begin and cease to "
      "take part (30 degrees from the zeros of their back-EMF). Uncertainty: straight lines "
      "between grid points.",
      own},
     commutation_error_mean},
    {{"commutation_error_spread", "rad", false, nothing,
      "Standard deviation of these. Uncertainty: as the mean.", own},
     commutation_error_spread},
    {{"lowest_smooth_speed", "rad/s", false, nothing,
      "Lowest mean speed of a whole mechanical turn through which it changes by no more than 20 %, "
      "every faster turn being smooth too; for slow ramps. Uncertainty: a quarter of a standard "
      "deviation of that turn.",
      own},
     lowest_smooth_speed},
    {{"start_up_time", "s", false, nothing,
      "From the window's begin or event until the speed first has 95 % of its mean in the window's "
      "last fifth. Uncertainty: a grid step; what the last fifth still moves.",
      own},
     start_up_time},
    {{"current_limit_overshoot", "1", false, nothing,
      "Greatest phase current of the window over the greatest of its last fifth, less one. "
      "Uncertainty: bins cut by the window's ends; float32.",
      own},
     current_limit_overshoot},
    {{"speed_rise_time", "s", false, event,
      "Time from 10 % to 90 % of the step of speed after the event; from the mean of 10 ms before "
      "it to that of the window's last fifth. Uncertainty: grid steps; what the last fifth still "
      "moves.",
      "rise from 10 % to 90 %, textbook"},
     speed_rise_time},
    {{"speed_overshoot", "1", false, event,
      "How far the speed goes beyond its new value, over the step. Uncertainty: the change to the "
      "neighbouring point; what the last fifth still moves.",
      "overshoot, textbook"},
     speed_overshoot},
    {{"speed_settling_time", "s", false, event,
      "From the event until the speed stays within 5 % of the step about its new value. "
      "Uncertainty: a grid step.",
      "settling time, textbook"},
     speed_settling_time},
    {{"current_rise_time", "s", false, event,
      "As speed_rise_time, of current_q averaged over one PWM period. Uncertainty: that period "
      "too.",
      "rise from 10 % to 90 %, textbook"},
     current_rise_time},
    {{"current_overshoot", "1", false, event,
      "As speed_overshoot, of current_q averaged over one PWM period.", "overshoot, textbook"},
     current_overshoot},
    {{"current_settling_time", "s", false, event,
      "As speed_settling_time, of current_q averaged over one PWM period.",
      "settling time, textbook"},
     current_settling_time},
    {{"speed_deviation", "rad/s", false, event,
      "Largest distance of the speed from its mean in the 10 ms before the event. Uncertainty: the "
      "change to the neighbouring point; float32.",
      own},
     speed_deviation},
    {{"speed_recovery_time", "s", false, event,
      "From the event until the speed stays within a tenth of speed_deviation about where it ends "
      "(mean of the window's last fifth). Uncertainty: a grid step.",
      own},
     speed_recovery_time},
    {{"time_to_zero_torque", "s", false, event,
      "From the event until the electromagnetic torque stays below 5 % of its mean in the 20 ms "
      "before it; it must rest 5 ms. Uncertainty: a grid step.",
      own},
     time_to_zero_torque},
    {{"restarts", "1", false, event,
      "How often, after the event, a gate goes on again after all six rested for 5 ms or longer. "
      "Exact.",
      own},
     restarts},
    {{"bus_overvoltage", "V", false, event,
      "Highest bus voltage of the window less the mean of the 20 ms before the event. Uncertainty: "
      "that of bus_voltage_max; the mean distance of those 20 ms from their mean.",
      own},
     bus_overvoltage},
    {{"time_to_contactor_closed", "s", false, event,
      "From the event until the contactor's line stays high. Uncertainty: 1 ps.", own},
     time_to_contactor_closed},
    {{"time_to_contactor_open", "s", false, event,
      "From the event until the contactor's line stays low. Uncertainty: 1 ps.", own},
     time_to_contactor_open},
    {{"chopper_on_time", "s", false, nothing,
      "How long the braking chopper's line was high; nothing where it never was. Uncertainty: 1 ps "
      "a change.",
      own},
     chopper_on_time},
    {{"lamp_lit_time", "s", false, nothing,
      "How long the controller's fault lamp was lit; nothing where it never was. Uncertainty: 1 ps "
      "a change.",
      own},
     lamp_lit_time},
    {{"blink_code", "1", false, blinks,
      "How often the controller's fault lamp blinks in a group, between two pauses. A blink, and "
      "the "
      "dark to the next one, lasts `shortest` (50 ms) to `longest` (800 ms), a pause at least "
      "`pause` "
      "(1 s). Undefined without a whole group in the window, and where groups differ. Exact.",
      "blink codes, common practice"},
     blink_code},
    {{"text_matches", "1", false, pattern,
      "How many of the controller's lines of text the regular expression (ECMAScript) finds itself "
      "in; of each the first 200 characters. Exact.",
      own},
     text_matches},
    {{"text_number", "", false, pattern,
      "The number that the first pair of parentheses of the regular expression finds in the "
      "controller's lines of text, of each the first 200 characters; in the unit that the limit "
      "names with `unit`. Undefined where no line fits, where it is no number, and where lines "
      "differ. Exact: as many digits as were sent.",
      own},
     text_number},
    {{"temperature_winding_max", "K", false, nothing,
      "Highest temperature of the windings at a grid point. Uncertainty: the change to the "
      "neighbouring points; float32.",
      own},
     temperature_winding_max},
    {{"temperature_magnet_max", "K", false, nothing,
      "Highest temperature of the rotor at a grid point. Uncertainty: the change to the "
      "neighbouring points; float32.",
      own},
     temperature_magnet_max},
    {{"temperature_heatsink_max", "K", false, nothing,
      "Highest temperature of the heatsink at a grid point. Uncertainty: the change to the "
      "neighbouring points; float32.",
      own},
     temperature_heatsink_max},
    {{"temperature_junction_max", "K", false, nothing,
      "Highest temperature of the warmest leg's switches at a grid point. Uncertainty: the change "
      "to the neighbouring points; float32.",
      own},
     temperature_junction_max},
    {{"supply_swing", "A", false, nothing,
      "Amplitude of the largest line in the supply current's spectrum up to 200 Hz, without trend "
      "and what lasts longer than a third of the window. Uncertainty: 16 % for a swing between two "
      "lines; a usual line's size.",
      "discrete Fourier transform with a raised cosine, textbook"},
     supply_swing},
    {{"supply_swing_frequency", "Hz", false, nothing,
      "Its frequency, where it stands out five times against a usual line. Uncertainty: half the "
      "lines' distance.",
      "as supply_swing"},
     supply_swing_frequency},
};

/// What a limit on time_to_gates_off in electrical turns is compared with; not asked for by name.
constexpr MeasureRow gates_off_in_turns = {
    {"turns_to_gates_off", electrical_turns, false, event,
     "How far the rotor turned, forwards or backwards, in that time. Uncertainty: straight "
     "lines between grid points; float32.",
     own},
    turns_to_gates_off};

constexpr auto infos = [] {
  std::array<MeasureInfo, std::size(rows)> all{};
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = rows[k].info;
  return all;
}();

int phase_of(std::string_view signal) {
  constexpr std::string_view names = "UVW";
  if (signal.empty()) return all_phases;
  const auto at = signal.size() == 1 ? names.find(signal) : names.npos;
  if (at == names.npos) {
    throw std::runtime_error("there is no phase \"" + std::string(signal) + "\"; U, V or W");
  }
  return static_cast<int>(at);
}

}  // namespace

std::span<const MeasureInfo> measure_table() noexcept { return infos; }

const MeasureRow* find_measure(std::string_view name) noexcept {
  for (const MeasureRow& row : rows) {
    if (row.info.name == name) return &row;
  }
  return name == gates_off_in_turns.info.name ? &gates_off_in_turns : nullptr;
}

Measurement measure(const RecordReader& record, std::string_view name, std::string_view signal,
                    const Window& window, std::string_view argument) {
  Evidence evidence(record);
  return measure(evidence, name, signal, window, argument);
}

Measurement measure(Evidence& evidence, std::string_view name, std::string_view signal,
                    const Window& window, std::string_view argument) {
  const MeasureRow* row = find_measure(name);
  if (row == nullptr) return undefined("there is no measure \"" + std::string(name) + "\"");
  const ResolvedWindow resolved = resolve(evidence.record(), window);
  Measurement answer;
  if (!resolved.undefined.empty()) {
    answer = undefined(resolved.undefined);
  } else {
    try {
      answer = row->compute({evidence, resolved.stretch, phase_of(signal), argument});
    } catch (const std::runtime_error& error) {
      answer = undefined(error.what());
    }
  }
  answer.from_s = static_cast<double>(resolved.stretch.from_ps) * 1e-12;
  answer.to_s = static_cast<double>(resolved.stretch.to_ps) * 1e-12;
  return answer;
}

}  // namespace stillrotor
