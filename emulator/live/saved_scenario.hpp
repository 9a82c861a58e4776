// The scenario that a driven run leaves: what was planned, what was done, and where it ended.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "emulator/scenario/read_action.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// own: the lines of the scenario's timeline, in its order. end_ps < 0, or beyond its lasts: it is
/// not shorter. A shorter one ends at the next whole millisecond, and leaves out, with a comment
/// each: actions that lie later, or wait for what lies later, and limits whose window does.
std::string saved_scenario(const Scenario&, const std::vector<ReadAction>& own,
                           const std::vector<ReadAction>& driven, std::int64_t end_ps);

/// "12.345 s", exact for whole milliseconds.
std::string time_text(std::int64_t at_ps);

}  // namespace stillrotor
