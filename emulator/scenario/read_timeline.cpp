#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <memory>
#include <optional>

#include "emulator/bench/nearest.hpp"
#include "emulator/scenario/action_draft.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

const std::vector<std::string>& doing() {
  static const std::vector<std::string> keys = [] {
    std::vector<std::string> all;
    for (const ActionWord& word : action_words()) all.emplace_back(word.name);
    all.insert(all.end(), {"fault", "clear"});
    return all;
  }();
  return keys;
}

class ActionReader {
 public:
  ActionReader(const YamlNode& node, const Bench& bench, std::int64_t lasts_ps, Problems& problems)
      : draft_{Fields(node, "an action", keys_of("action"), problems), bench, problems},
        lasts_ps_(lasts_ps) {}

  std::optional<ReadAction> read() {
    const bool timely = read_moment();
    ReadAction& read = draft_.read;
    std::vector<std::string> found;
    for (const std::string& key : doing())
      if (fields().has(key)) found.push_back(key);
    if (found.size() != 1) {
      fields().wrong("at", fmt::format("this action says {}; allowed exactly one of {}. Write one "
                                       "line for each.",
                                       found.empty() ? std::string("nothing to do")
                                                     : fmt::format("{}", fmt::join(found, " and ")),
                                       fmt::join(doing(), ", ")));
      return {};
    }
    const bool good = found[0] == "fault" || found[0] == "clear" ? read_fault(draft_, found[0])
                                                                 : read_word(draft_, found[0]);
    if (!good || !timely) return {};
    read.place = fields().place();
    if (const auto& condition = read.condition) {
      read.action.label += " when " + condition->text;
      if (condition->what != Watched::time_since && !condition->after.empty())
        read.action.label += " after " + condition->after;
    }
    for (WrittenPair& pair : draft_.pairs) moment_.push_back(std::move(pair));
    if (read.action.overtakes) moment_.push_back({std::string(overtaking), "on"});
    read.line = flow_map(moment_);
    return std::move(read);
  }

 private:
  /// Its time, or what it waits for.
  bool read_moment() {
    const double lasts_s =
        static_cast<double>(lasts_ps_) / 1e12;  // not times 1e-12: 3.2 s stays 3.2 s
    if (fields().has("when")) {
      if (fields().has("at")) {
        fields().wrong("at", "at means nothing beside when. Remove one of them.");
        return false;
      }
      draft_.read.condition = read_condition(fields(), draft_.bench, lasts_ps_);
      moment_ = {{"when", fields().text("when")},
                 {"after", fields().text("after")},
                 {"by", fields().has("by") ? fields().text("by") : from_si(lasts_s, Family::time)}};
      return draft_.read.condition.has_value();
    }
    bool good = true;
    for (const char* key : {"after", "by"})
      if (fields().has(key)) {
        fields().wrong(key, fmt::format("{} means nothing without when. Remove it, or write when: "
                                        "speed > 300 rpm.",
                                        key));
        good = false;
      }
    const auto at =
        fields().time_ps("at", 0.0, lasts_s, fmt::format("0 s to lasts, {:g} s", lasts_s));
    if (!fields().has("at"))
      fields().wrong("at",
                     "at is missing; allowed 0 s to the scenario's end. Write at: 1 s, or "
                     "when: speed > 300 rpm.");
    draft_.read.action.at_ps = at.value_or(0);
    moment_ = {{"at", fields().text("at")}};
    return good && at;
  }

  const Fields& fields() const noexcept { return draft_.fields; }

  ActionDraft draft_;
  std::int64_t lasts_ps_;
  std::vector<WrittenPair> moment_;  // of the resolved file
};

/// What is random in an action, by its place among those of the timeline in which something is, so
/// that a line in which nothing is moves no other's.
void draw(ReadAction& read, std::uint64_t seed, std::uint64_t& place) {
  Action& action = read.action;
  if (read.flickering) {
    action.flips = draw_flips(*read.flickering, seed, place++);
    action.end_mark = action.mark + std::string(cleared_ending);
  }
  if (action.shape && action.shape->kind == Shape::Kind::noise) {
    Shape drawn = *action.shape;
    draw_noise(drawn, seed, place++);
    action.shape = std::make_shared<const Shape>(std::move(drawn));
  }
}

/// What waits is counted apart: a line with a time moves none of it.
constexpr std::uint64_t first_that_waits = std::uint64_t{1} << 32;

void check_events(const std::vector<ReadAction>& actions, bool key_at_start, Problems& problems) {
  const std::set<std::string> coming = events_that_come(actions, key_at_start);
  const std::vector<std::string> names(coming.begin(), coming.end());
  for (const ReadAction& read : actions)
    if (read.condition && !read.condition->after.empty() && !coming.contains(read.condition->after))
      problems.add(read.place,
                   fmt::format("{}: the event \"{}\" never comes.{}", read.action.label,
                               read.condition->after,
                               names.empty() ? " Add the action that makes it."
                                             : suggestion(read.condition->after, names)));
}

/// Two lines with the same table share its file.
void name_table(ReadAction& read, std::vector<TableFile>& tables) {
  const auto known = std::find_if(tables.begin(), tables.end(),
                                  [&](const TableFile& table) { return table.text == read.table; });
  const std::string name =
      known != tables.end() ? known->name : fmt::format("scenario-table-{}.csv", tables.size() + 1);
  if (known == tables.end()) tables.push_back({name, std::move(read.table)});
  read.line.replace(read.line.find(table_stands_for), table_stands_for.size(), name);
}

}  // namespace

void ActionDraft::means_nothing(std::string_view option, std::string_view beside) const {
  fields.wrong(option, fmt::format("{} means nothing beside {}. Remove it.", option, beside));
}

bool ActionDraft::lacks(std::string_view key, std::string_view name, std::string_view needs,
                        std::string_view remedy) const {
  fields.wrong(key, fmt::format("{} needs {}; the bench \"{}\" has none. {}.", name, needs,
                                bench.name, remedy));
  return false;
}

std::optional<ReadAction> read_action(const YamlNode& node, const Bench& bench,
                                      std::int64_t lasts_ps, Problems& problems) {
  if (node.find("measure") != nullptr) {
    problems.add(node.place,
                 "this is a limit, which is no action. Move it to the lines under expect:.");
    return {};
  }
  return ActionReader(node, bench, lasts_ps, problems).read();
}

void sort_timeline(std::vector<ReadAction>& actions) {
  std::stable_sort(actions.begin(), actions.end(), [](const ReadAction& a, const ReadAction& b) {
    if (a.condition || b.condition) return !a.condition && b.condition;
    return a.action.at_ps < b.action.at_ps;
  });
}

std::vector<std::string> read_timeline(const YamlNode& list, const Bench& bench, Scenario& scenario,
                                       Problems& problems) {
  if (list.kind != YamlNode::Kind::sequence) {
    problems.add(list.place,
                 "timeline is a list; write one line \"- {at: 1 s, key: on}\" for "
                 "each action.");
    return {};
  }
  std::vector<ReadAction> actions;
  for (const YamlNode& node : list.items)
    if (auto action = read_action(node, bench, scenario.lasts_ps, problems))
      actions.push_back(std::move(*action));
  sort_timeline(actions);
  check_order_of_faults(actions, problems);
  check_overlaps(actions, problems);
  check_events(actions, scenario.start.key, problems);
  std::vector<std::string> lines;
  std::uint64_t drawn = 0, drawn_waiting = first_that_waits;
  for (ReadAction& read : actions) {
    draw(read, scenario.seed, read.condition ? drawn_waiting : drawn);
    if (read.condition)
      scenario.waiting.push_back({std::move(*read.condition), std::move(read.action)});
    else
      scenario.timeline.push_back(std::move(read.action));
    if (!read.table.empty()) name_table(read, scenario.tables);
    lines.push_back(std::move(read.line));
  }
  return lines;
}

}  // namespace stillrotor
