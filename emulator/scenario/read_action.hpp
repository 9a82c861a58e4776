// One action of a timeline in the scenario's language: read and checked, alone and among others.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/problems.hpp"
#include "emulator/bench/yaml_tree.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

struct ReadAction {
  std::optional<Condition> condition;  // else it has a time
  Action action;
  Place place;
  std::string line;  // of the resolved file
  std::optional<Flickering> flickering;
  std::string table;  // see ReadShape
};

/// A map of the timeline, all but what needs the other lines: what is random is not drawn yet.
/// Nothing, and the problem said, when wrong.
std::optional<ReadAction> read_action(const YamlNode&, const Bench&, std::int64_t lasts_ps,
                                      Problems&);

/// By time first, then what waits; what comes at one time stays in order.
void sort_timeline(std::vector<ReadAction>&);

// What single lines cannot know. Sorted.
/// A fault comes before its end, and only once until then. One that a condition begins or ends is
/// left to the run.
void check_order_of_faults(const std::vector<ReadAction>&, Problems&);
/// Two movements of one quantity at the same time contradict each other: of its value, of a sine
/// added to it, of a noise; unless the later one says that it overtakes. What conditions begin is
/// left to the run.
void check_overlaps(const std::vector<ReadAction>&, Problems&);
/// The events that these lines can make; what waits for others never comes.
std::set<std::string> events_that_come(const std::vector<ReadAction>&, bool key_at_start);

/// Does the road of this scenario move it? No action may, then.
bool road_gives(const Road&, ActionKind) noexcept;

/// Do both move the same quantity in the same way, so that the one ends the other?
bool move_the_same(const Action&, const Action&) noexcept;
/// How long the movement of a quantity lasts.
std::int64_t lasting_ps(const Action&) noexcept;

}  // namespace stillrotor
