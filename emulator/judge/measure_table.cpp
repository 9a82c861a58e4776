// The one table of measures, and how a row of it is computed.
#include <array>
#include <stdexcept>

#include "emulator/judge/measure_rows.hpp"

namespace stillrotor {
namespace {

constexpr std::string_view own = "own definition";

constexpr MeasureRow rows[] = {
    {{"phase_current_peak", "A", true,
      "Greatest magnitude of a phase current, between grid points too. Uncertainty: grid bins "
      "cut by the window's ends; float32.",
      own},
     phase_current_peak},
    {{"phase_current_rms", "A", true,
      "Root of the mean square of a phase current over the window. Uncertainty: what the bins "
      "may hide, from their spread and the bends around them; bins cut by the window's ends; "
      "float32.",
      "root-mean-square value, textbook"},
     phase_current_rms},
    {{"bus_voltage_min", "V", false,
      "Lowest DC link voltage at the bridge, between grid points too. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_voltage_min},
    {{"bus_voltage_max", "V", false,
      "Highest DC link voltage at the bridge, between grid points too. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_voltage_max},
    {{"bus_current_mean", "A", false,
      "Mean current out of the supply; negative: into it. Uncertainty: as phase_current_rms.", own},
     bus_current_mean},
    {{"bus_current_peak", "A", false,
      "Greatest magnitude of the current out of or into the supply. Uncertainty: as "
      "phase_current_peak.",
      own},
     bus_current_peak},
    {{"torque_mean", "N m", false,
      "Mean electromagnetic torque, from the means over the grid's bins. Uncertainty: bins cut by "
      "the "
      "window's ends; 0.15 % of the torque's range for what bends inside a step; float32.",
      own},
     torque_mean},
    {{"torque_ripple", "1", false,
      "Peak to peak over the size of the mean of the electromagnetic torque, after a moving "
      "average over one period of the pulse-width modulation (pwm_frequency in the window; one "
      "grid bin where nothing switches), from the means over the grid's bins. Uncertainty: 0.15 % "
      "of the widest bin; where the period is no whole number of bins, the cut bins; that of the "
      "mean.",
      own},
     torque_ripple},
    {{"torque_ripple_with_switching", "1", false,
      "Peak to peak over the size of the mean of the electromagnetic torque, switching ripple "
      "included. Uncertainty: bins cut by the window's ends; that of the mean.",
      own},
     torque_ripple_with_switching},
    {{"speed_mean", "rad/s", false,
      "Mean mechanical speed of the motor shaft. Uncertainty: one grid step's share of the "
      "change of speed; float32.",
      own},
     speed_mean},
    {{"speed_min", "rad/s", false,
      "Lowest speed at a grid point. Uncertainty: the change to the neighbouring points; float32.",
      own},
     speed_min},
    {{"speed_max", "rad/s", false,
      "Highest speed at a grid point. Uncertainty: the change to the neighbouring points; float32.",
      own},
     speed_max},
    {{"pwm_frequency", "Hz", false,
      "One over the median time between rising edges of the gate that rises most often. "
      "Uncertainty: twice the standard error of the median, from the quartiles; 1 ps.",
      own},
     pwm_frequency},
    {{"smallest_dead_time", "s", false,
      "Shortest time, over the three legs, from one switch commanded off to its partner "
      "commanded on; negative: both were on. Uncertainty: 1 ps.",
      own},
     smallest_dead_time},
    {{"shoot_through_count", "1", false,
      "How often both switches of a leg were commanded on together, for longer than no time. "
      "Exact.",
      own},
     shoot_through_count},
    {{"time_to_gates_off", "s", false,
      "From the event that the window hangs on to the instant from which all six gates stay off "
      "until the window's end; they must rest 5 ms. A limit in electrical turns is compared with "
      "how far the rotor turned meanwhile. Uncertainty: 1 ps; of turns, the record's grid.",
      own},
     time_to_gates_off},
};

/// What a limit on time_to_gates_off in electrical turns is compared with; not asked for by name.
constexpr MeasureRow gates_off_in_turns = {
    {"turns_to_gates_off", electrical_turns, false,
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
                    const Window& window) {
  Evidence evidence(record);
  return measure(evidence, name, signal, window);
}

Measurement measure(Evidence& evidence, std::string_view name, std::string_view signal,
                    const Window& window) {
  const MeasureRow* row = find_measure(name);
  if (row == nullptr) return undefined("there is no measure \"" + std::string(name) + "\"");
  const ResolvedWindow resolved = resolve(evidence.record(), window);
  Measurement answer;
  if (!resolved.undefined.empty()) {
    answer = undefined(resolved.undefined);
  } else {
    try {
      answer = row->compute({evidence, resolved.stretch, phase_of(signal)});
    } catch (const std::runtime_error& error) {
      answer = undefined(error.what());
    }
  }
  answer.from_s = static_cast<double>(resolved.stretch.from_ps) * 1e-12;
  answer.to_s = static_cast<double>(resolved.stretch.to_ps) * 1e-12;
  return answer;
}

}  // namespace stillrotor
