#include <fmt/format.h>

#include <map>
#include <set>
#include <tuple>
#include <utility>

#include "emulator/bench/nearest.hpp"
#include "emulator/scenario/action_draft.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using FaultKey = std::pair<const Fault*, std::string>;
FaultKey fault_key(const Action& action) { return {action.fault, action.which}; }

/// A fault comes before its end, and only once until then. One that a condition begins or ends is
/// left to the run.
void check_order_of_faults(const std::vector<ReadAction>& actions, Problems& problems) {
  std::set<FaultKey> present, left_to_the_run, begun;
  for (const ReadAction& read : actions) {
    if (read.action.kind != ActionKind::fault) continue;
    if (read.condition) left_to_the_run.insert(fault_key(read.action));
    if (!read.action.cleared) begun.insert(fault_key(read.action));
  }
  std::map<FaultKey, std::int64_t> ends_by_itself;
  for (const auto& [condition, action, place, line, flickering, table] : actions) {
    if (action.kind != ActionKind::fault) continue;
    const FaultKey key = fault_key(action);
    if (left_to_the_run.contains(key)) {
      if (!begun.contains(key))
        problems.add(place, fmt::format("{}: the fault never begins. Add it, or remove this line.",
                                        action.label));
      continue;
    }
    if (const auto ended = ends_by_itself.find(key);
        ended != ends_by_itself.end() && ended->second <= action.at_ps) {
      present.erase(key);
      ends_by_itself.erase(ended);
    }
    if (flickering) ends_by_itself[key] = action.at_ps + to_ps(flickering->lasts_s);
    if (action.cleared) ends_by_itself.erase(key);
    const bool changes = action.cleared ? present.erase(key) == 1 : present.insert(key).second;
    if (!changes)
      problems.add(place, fmt::format("{}: at this time the fault is {} already. Check the order "
                                      "in time.",
                                      action.label, action.cleared ? "absent" : "present"));
  }
}

/// Two movements of one quantity at the same time contradict each other: of its value, of a sine
/// added to it, of a noise. What conditions begin is left to the run.
void check_overlaps(const std::vector<ReadAction>& actions, Problems& problems) {
  struct Movement {
    std::int64_t end_ps;
    const ReadAction* read;
  };
  std::map<std::tuple<ActionKind, std::size_t, int>, Movement> under_way;
  for (const ReadAction& read : actions) {
    const Action& action = read.action;
    if (read.condition || action.kind == ActionKind::fault) continue;
    const bool added = action.shape && action.shape->kind != Shape::Kind::table;
    const int layer = added ? 1 + static_cast<int>(action.shape->kind) : 0;
    const std::tuple key{action.kind, action.body, layer};
    const auto before = under_way.find(key);
    if (before != under_way.end() && before->second.end_ps > action.at_ps)
      problems.add(
          read.place,
          fmt::format("{} begins at {:g} s, while \"{}\" ({}) goes on to {:g} s. Begin "
                      "later, or end the other one sooner.",
                      action.label, static_cast<double>(action.at_ps) * 1e-12,
                      before->second.read->action.label, before->second.read->place.origin(),
                      static_cast<double>(before->second.end_ps) * 1e-12));
    const std::int64_t lasts_ps = action.shape ? action.shape->lasts_ps : action.over_ps;
    under_way[key] = {action.at_ps + lasts_ps, &read};
  }
}

/// What a condition waits for first has to be able to happen: by time, or by a condition that does
/// not wait for it in turn.
void check_events(const std::vector<ReadAction>& actions, bool key_at_start, Problems& problems) {
  std::set<std::string> possible;
  if (key_at_start) possible.insert("key on");
  const auto waits = [&](const ReadAction& read) {
    return read.condition && !read.condition->after.empty() &&
           !possible.contains(read.condition->after);
  };
  for (std::size_t known = possible.size() + 1; known != possible.size();) {
    known = possible.size();
    for (const ReadAction& read : actions)
      if (!waits(read)) {
        possible.insert(event_name(read.action));
        if (read.flickering) possible.insert(event_name(read.action) + std::string(cleared_ending));
      }
  }
  const std::vector<std::string> names(possible.begin(), possible.end());
  for (const ReadAction& read : actions)
    if (waits(read))
      problems.add(read.place,
                   fmt::format("{}: the event \"{}\" never comes.{}", read.action.label,
                               read.condition->after,
                               names.empty() ? " Add the action that makes it."
                                             : suggestion(read.condition->after, names)));
}

}  // namespace

void check_timeline(const std::vector<ReadAction>& actions, bool key_at_start, Problems& problems) {
  check_order_of_faults(actions, problems);
  check_overlaps(actions, problems);
  check_events(actions, key_at_start, problems);
}

}  // namespace stillrotor
