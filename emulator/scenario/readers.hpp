// The two lists of a scenario file. Included by load_scenario.cpp and by themselves only.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/problems.hpp"
#include "emulator/bench/yaml_tree.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// "when", "after" and "by" of an action. Nothing, and the problem said, when wrong.
std::optional<Condition> read_condition(const Fields&, const Bench&, std::int64_t lasts_ps);

/// Fills scenario.timeline, sorted, and scenario.waiting. Returns the lines of the resolved file,
/// in the same order.
std::vector<std::string> read_timeline(const YamlNode& list, const Bench&, Scenario&, Problems&);

/// Fills scenario.expect; the timeline is read already. Returns the lines of the resolved file.
/// measures empty: their names and units are not checked.
std::vector<std::string> read_limits(const YamlNode& list, std::span<const KnownMeasure> measures,
                                     Scenario&, Problems&);

/// "{at: 0.4 s, throttle: 2.6 V}" from pairs of key and text; pairs without text are left out.
std::string flow_map(const std::vector<std::pair<std::string, std::string>>&);

}  // namespace stillrotor
