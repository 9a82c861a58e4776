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
    ActionWord{"speed_limit", ActionKind::speed_limit, on_off, Family::ratio, 0, 1, "on or off",
               "switch for a lower top speed"},
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
    ActionWord{"temperature", ActionKind::temperature, ramp, Family::temperature, 173.15, 573.15,
               "-100 degC to 300 degC", "of a body; with heat paths it goes on from there"},
    ActionWord{"ambient", ActionKind::ambient, ramp, Family::temperature, 233.15, 358.15,
               "-40 degC to 85 degC", "of the surroundings; needs heat paths (thermal)"},
    ActionWord{"rolling_factor", ActionKind::rolling_factor, ramp, Family::ratio, 0.1, 50,
               "10 % to 5000 %", "of load.rolling_resistance: what the ground makes of it"},
    ActionWord{"grip_factor", ActionKind::grip_factor, ramp, Family::ratio, 0.02, 3, "2 % to 300 %",
               "of the tyre's grip; needs load.coupling: slipping"},
};

}  // namespace

std::span<const ActionWord> action_words() noexcept { return actions; }

Action fault_action(const Fault& fault, const FaultSettings& settings, bool cleared) {
  Action action;
  action.kind = ActionKind::fault;
  action.fault = &fault;
  action.settings = settings;
  action.cleared = cleared;
  action.mark = event_name(action);
  for (std::size_t k = 0; k < fault.options.size(); ++k)
    if (fault.options[k].which)
      action.which += fmt::format("{}{}", action.which.empty() ? "" : " ",
                                  fault.options[k].words[settings.word(k)]);
  action.label = fmt::format("{}{}{}", action.mark, action.which.empty() ? "" : " ", action.which);
  return action;
}

std::size_t distinct_faults() noexcept {
  std::size_t all = 0;
  for (const Fault* fault : fault_catalogue()) {
    std::size_t alike = 1;
    for (const FaultOption& option : fault->options)
      if (option.which) alike *= option.words.size();
    all += alike;
  }
  return all;
}

std::string event_name(const Action& action) {
  if (action.kind == ActionKind::fault)
    return fmt::format("{}{}", action.fault->name, action.cleared ? cleared_ending : "");
  const auto word = std::find_if(actions.begin(), actions.end(), [&](const ActionWord& candidate) {
    return candidate.kind == action.kind;
  });
  if (action.kind == ActionKind::temperature)
    return fmt::format("{} {}", word->name, body_words[action.body]);
  const char* state = word->form != on_off ? "" : action.value != 0.0 ? " on" : " off";
  return fmt::format("{}{}", word->name, state);
}

std::string window_text(const Window& w) {
  const auto seconds = [](double s) { return fmt::format("{:g} s", s); };
  if (!w.before.empty())
    return fmt::format("{} to {} before {}", w.from_s < 0.0 ? "the start" : seconds(w.from_s),
                       seconds(w.to_s), w.before);
  std::string text = seconds(w.from_s);
  if (!w.after.empty()) text += " after " + w.after;
  if (!w.until.empty())
    return text + (w.to_s > 0.0 ? fmt::format(" to {} after {}", seconds(w.to_s), w.until)
                                : " until " + w.until);
  if (w.after.empty() || w.to_s < 0.0)
    return text + " to " + (w.to_s < 0.0 ? "the end" : seconds(w.to_s));
  return fmt::format("{} to {} after {}", seconds(w.from_s), seconds(w.to_s), w.after);
}

std::vector<std::string> event_names(const Action& action) {
  std::vector<std::string> names{event_name(action)};
  if (!action.flips.empty()) names.push_back(names.front() + std::string(cleared_ending));
  return names;
}

std::vector<std::string> event_names(const Scenario& scenario) {
  std::vector<std::string> names;
  if (scenario.start.key) names.emplace_back("key on");
  for_each_action(scenario, [&names](const Action& action) {
    for (std::string& name : event_names(action))
      if (std::find(names.begin(), names.end(), name) == names.end())
        names.push_back(std::move(name));
  });
  return names;
}

}  // namespace stillrotor
