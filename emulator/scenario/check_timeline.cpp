#include <fmt/format.h>

#include <map>
#include <set>
#include <tuple>
#include <utility>

#include "emulator/scenario/read_action.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using FaultKey = std::pair<const Fault*, std::string>;
FaultKey fault_key(const Action& action) { return {action.fault, action.which}; }

/// What a shape adds to a quantity has a movement of its own.
int layer(const Action& action) noexcept {
  const bool added = action.shape && action.shape->kind != Shape::Kind::table;
  return added ? 1 + static_cast<int>(action.shape->kind) : 0;
}

}  // namespace

void check_order_of_faults(const std::vector<ReadAction>& actions, Problems& problems) {
  std::set<FaultKey> present, left_to_the_run, begun;
  for (const ReadAction& read : actions) {
    if (read.action.kind != ActionKind::fault) continue;
    if (read.condition) left_to_the_run.insert(fault_key(read.action));
    if (!read.action.cleared) begun.insert(fault_key(read.action));
  }
  std::map<FaultKey, std::int64_t> ends_by_itself;
  for (const ReadAction& read : actions) {
    const Action& action = read.action;
    if (action.kind != ActionKind::fault) continue;
    const FaultKey key = fault_key(action);
    if (left_to_the_run.contains(key)) {
      if (!begun.contains(key))
        problems.add(
            read.place,
            fmt::format("{}: the fault never begins. Add it, or remove this line.", action.label));
      continue;
    }
    if (const auto ended = ends_by_itself.find(key);
        ended != ends_by_itself.end() && ended->second <= action.at_ps) {
      present.erase(key);
      ends_by_itself.erase(ended);
    }
    if (action.flickers_ps > 0) ends_by_itself[key] = action.at_ps + action.flickers_ps;
    if (action.cleared) ends_by_itself.erase(key);
    const bool changes = action.cleared ? present.erase(key) == 1 : present.insert(key).second;
    if (!changes)
      problems.add(read.place,
                   fmt::format("{}: at this time the fault is {} already. Check the order "
                               "in time.",
                               action.label, action.cleared ? "absent" : "present"));
  }
}

bool move_the_same(const Action& a, const Action& b) noexcept {
  return a.kind == b.kind && a.kind != ActionKind::fault && a.body == b.body &&
         layer(a) == layer(b);
}

std::int64_t lasting_ps(const Action& action) noexcept {
  return action.shape ? action.shape->lasts_ps : action.over_ps;
}

void check_overlaps(const std::vector<ReadAction>& actions, Problems& problems) {
  struct Movement {
    std::int64_t end_ps;
    const ReadAction* read;
  };
  std::map<std::tuple<ActionKind, std::size_t, int>, Movement> under_way;
  for (const ReadAction& read : actions) {
    const Action& action = read.action;
    if (read.condition || action.kind == ActionKind::fault) continue;
    const std::tuple key{action.kind, action.body, layer(action)};
    const auto before = under_way.find(key);
    if (before != under_way.end() && before->second.end_ps > action.at_ps && !action.overtakes)
      problems.add(
          read.place,
          fmt::format("{} begins at {:g} s, while \"{}\" ({}) goes on to {:g} s. Begin "
                      "later, end the other one sooner, or say overtakes: on.",
                      action.label, static_cast<double>(action.at_ps) * 1e-12,
                      before->second.read->action.label, before->second.read->place.origin(),
                      static_cast<double>(before->second.end_ps) * 1e-12));
    under_way[key] = {action.at_ps + lasting_ps(action), &read};
  }
}

// By time, or by a condition that does not wait for it in turn.
std::set<std::string> events_that_come(const std::vector<ReadAction>& actions, bool key_at_start) {
  std::set<std::string> possible;
  if (key_at_start) possible.insert("key on");
  for (std::size_t known = possible.size() + 1; known != possible.size();) {
    known = possible.size();
    for (const ReadAction& read : actions) {
      if (read.condition && !read.condition->after.empty() &&
          !possible.contains(read.condition->after))
        continue;
      possible.insert(event_name(read.action));
      if (read.action.flickers_ps > 0)
        possible.insert(event_name(read.action) + std::string(cleared_ending));
    }
  }
  return possible;
}

}  // namespace stillrotor
