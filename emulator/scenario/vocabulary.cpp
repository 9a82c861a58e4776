#include "emulator/scenario/vocabulary.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace stillrotor {
namespace {

using enum ActionWord::Form;

constexpr std::array actions{
    ActionWord{"key", ActionKind::key, on_off, Family::ratio, 0, 1, "on or off",
               "controller supply and key line"},
    ActionWord{"brake", ActionKind::brake, on_off, Family::ratio, 0, 1, "on or off",
               "brake switch"},
    ActionWord{"reverse", ActionKind::reverse, on_off, Family::ratio, 0, 1, "on or off",
               "reverse switch"},
    ActionWord{
        "throttle", ActionKind::throttle, ramp, Family::voltage, 0, 6,
        "0 V to 6 V, or 0 % to 100 %",
        "voltage of the throttle's wire, or its position between idle and full; the command pulse "
        "follows it"},
    ActionWord{"load_torque", ActionKind::load_torque, ramp, Family::torque, -10'000, 10'000,
               "-10000 N m to 10000 N m", "load at the motor shaft, opposes positive speed"},
    ActionWord{"slope", ActionKind::slope, ramp, Family::ratio, -0.5, 0.5, "-50 % to 50 %",
               "rise over run of the road, uphill positive"},
    ActionWord{"supply_voltage", ActionKind::supply_voltage, ramp, Family::voltage, 0, 2000,
               "0 V to 2000 V", "open-circuit or set voltage of the supply"},
    ActionWord{"supply", ActionKind::supply, on_off, Family::ratio, 0, 1, "on or off",
               "the supply's connector; off cuts the current at once"},
    ActionWord{"wind", ActionKind::wind, ramp, Family::speed, -50, 50, "-50 m/s to 50 m/s",
               "against the cart; needs load.drag_area"},
    ActionWord{"pedal_torque", ActionKind::pedal_torque, ramp, Family::torque, 0, 500,
               "0 N m to 500 N m", "mean at the crank, drives the cart forward"},
    ActionWord{"held_speed", ActionKind::held_speed, ramp, Family::rotational_speed, -10'472,
               10'472, "-100000 rpm to 100000 rpm", "that the dynamometer keeps at the motor"},
    ActionWord{"driver_supply", ActionKind::driver_supply, step, Family::voltage, 0, 40,
               "0 V to 40 V",
               "of the gate driver; needs its undervoltage or its bootstrap supplies"},
    ActionWord{"command_pulse", ActionKind::command_pulse, on_off, Family::ratio, 0, 1, "on or off",
               "sender of the command pulse; off: no pulse comes"},
};

constexpr std::array faults{
    FaultWord{"hall_line_open", FaultKind::hall_line_open, "Halls", "sensors.hall, harness.hall",
              "line: U, V or W",
              "the wire of a Hall line breaks: its pull decides what the controller reads"},
    FaultWord{"hall_line_stuck", FaultKind::hall_line_stuck, "Halls", "sensors.hall, harness.hall",
              "line: U, V or W; level: low or high",
              "a Hall line is tied to a level at the controller's pin"},
    FaultWord{"phase_open", FaultKind::phase_open, "", "", "line: U, V or W",
              "a motor cable comes off; the current in it is cut at once"},
    FaultWord{"bad_joint", FaultKind::bad_joint, "a magnet machine without flux map",
              "machine.kind, machine.flux_map", "line: U, V or W; resistance: 0 ohm to 100 ohm",
              "a joint goes bad: so much resistance in series with a winding; delta: of U-V, V-W, "
              "W-U"},
    FaultWord{"angle_sensor_error", FaultKind::angle_sensor_error,
              "an absolute angle sensor that has an error bit",
              "sensors.absolute_angle.output, sensors.absolute_angle.error_bit", "",
              "the absolute angle sensor reports itself faulty; its angle stays right"},
};

}  // namespace

std::span<const ActionWord> action_words() noexcept { return actions; }
std::span<const FaultWord> fault_words() noexcept { return faults; }

std::string event_name(const Action& action) {
  if (action.kind == ActionKind::fault)
    return fmt::format("{}{}", faults[static_cast<std::size_t>(action.fault)].name,
                       action.cleared ? " cleared" : "");
  const auto word = std::find_if(actions.begin(), actions.end(), [&](const ActionWord& candidate) {
    return candidate.kind == action.kind;
  });
  const char* state = word->form != on_off ? "" : action.value != 0.0 ? " on" : " off";
  return fmt::format("{}{}", word->name, state);
}

std::vector<std::string> event_names(const Scenario& scenario) {
  std::vector<std::string> names;
  if (scenario.start.key) names.emplace_back("key on");
  for (const Action& action : scenario.timeline)
    if (std::string name = event_name(action);
        std::find(names.begin(), names.end(), name) == names.end())
      names.push_back(std::move(name));
  return names;
}

}  // namespace stillrotor
