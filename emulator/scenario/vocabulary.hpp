// The words of a scenario: what can be done at the connector and around it, and what can break.
#pragma once

#include <array>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/units.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// An action of the timeline: a switch (on, off), or a quantity, most of which may ramp with
/// `over`.
struct ActionWord {
  std::string_view name;
  ActionKind kind;
  enum class Form : std::uint8_t { on_off, step, ramp } form;
  Family family;  // of a quantity
  double least, most;
  std::string_view allowed;
  std::string_view text;
};
std::span<const ActionWord> action_words() noexcept;

/// The beginning or the end of a fault, whole but for its time.
Action fault_action(const Fault&, const FaultSettings&, bool cleared);

/// How many can be present at once: of several alike each counts.
std::size_t distinct_faults() noexcept;

/// What a limit's `after` may name in this timeline: marks in the record have the same names.
/// "key on", "throttle", "hall_line_open", "hall_line_open cleared".
std::string event_name(const Action&);
/// Of one action: an intermittent fault also makes the event of its end.
std::vector<std::string> event_names(const Action&);
std::vector<std::string> event_names(const Scenario&);

/// "0 s to 2 s after hall_line_open"
std::string window_text(const Window&);

/// Behind a fault's name: the event of its end.
inline constexpr std::string_view cleared_ending = " cleared";

/// What `temperature` can be of, in the order of plant::TemperatureNode.
inline constexpr std::array<std::string_view, 4> body_words{"winding", "magnet", "heatsink",
                                                            "junction"};

/// The actions that the road may do by distance, in the order of its keys.
inline constexpr std::array<std::string_view, 4> road_words{"slope", "wind", "rolling_factor",
                                                            "grip_factor"};

}  // namespace stillrotor
