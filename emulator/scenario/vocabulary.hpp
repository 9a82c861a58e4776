// The words of a scenario: what can be done at the connector and around it, and what can break.
#pragma once

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

/// What a limit's `after` may name in this timeline: marks in the record have the same names.
/// "key on", "throttle", "hall_line_open", "hall_line_open cleared".
std::string event_name(const Action&);
std::vector<std::string> event_names(const Scenario&);

}  // namespace stillrotor
