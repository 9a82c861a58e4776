#include <fmt/format.h>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

constexpr double farthest_m = 1e6;

/// From its last value straight to the new one, which it has over_m further on.
void extend(RoadLine& line, double at_m, double value, double over_m) {
  if (line.any()) {
    line.points.push_back({at_m, line.points.back().value});
    line.points.push_back({at_m + over_m, value});
  } else {
    line.points.push_back({at_m, value});
  }
}

void check_against_actions(const YamlNode& list, const Scenario& scenario, Problems& problems) {
  const auto both = [&](const RoadLine& line, ActionKind kind, std::string_view name) {
    if (!line.any()) return;
    for_each_action(scenario, [&](const Action& action) {
      if (action.kind == kind)
        problems.add(list.place,
                     fmt::format("the road gives {}, and so does the action \"{}\". Remove one of "
                                 "them.",
                                 name, action.label));
    });
  };
  both(scenario.road.slope, ActionKind::slope, "slope");
  both(scenario.road.wind_m_s, ActionKind::wind, "wind");
}

}  // namespace

std::vector<std::string> read_road(const YamlNode& list, const Bench& bench, Scenario& scenario,
                                   Problems& problems) {
  if (list.kind != YamlNode::Kind::sequence) {
    problems.add(list.place,
                 "road is a list; write one line \"- {at: 20 m, slope: 6 %}\" for each point.");
    return {};
  }
  if (bench.drive.shaft.cart_mass_kg <= 0.0)
    problems.add(list.place, fmt::format("road needs a cart; the bench \"{}\" has none. Give it "
                                         "load.cart_mass, or remove road.",
                                         bench.name));
  const std::vector<std::string>& keys = keys_of("road");
  std::vector<std::string> lines;
  double before_m = -1.0;
  for (const YamlNode& node : list.items) {
    const Fields fields(node, "a point of the road", keys, problems);
    if (!fields.has("at"))
      problems.add(node.place, "at is missing; allowed 0 m to 1000 km. Write at: 20 m.");
    const double at_m =
        fields.quantity("at", Family::length, 0.0, farthest_m, "0 m to 1000 km").value_or(0.0);
    if (at_m <= before_m)
      fields.wrong("at", fmt::format("at is {}; allowed above {:g} m, where the point before ends. "
                                     "Sort the points, or shorten over.",
                                     fields.text("at"), before_m));
    const double over_m =
        fields.quantity("over", Family::length, 0.0, 1e5, "0 m to 100 km").value_or(0.0);
    before_m = at_m + over_m;
    const auto take = [&](std::string_view name, RoadLine& line, double over) {
      for (const ActionWord& word : action_words())
        if (word.name == name)
          if (const auto value =
                  fields.quantity(name, word.family, word.least, word.most, word.allowed))
            extend(line, at_m, *value, over);
    };
    take("slope", scenario.road.slope, over_m);
    take("wind", scenario.road.wind_m_s, over_m);
    if (!fields.has("slope") && !fields.has("wind"))
      problems.add(node.place,
                   "this point says nothing; allowed slope, wind. Write slope: "
                   "6 %, or remove it.");
    std::vector<WrittenPair> pairs;
    for (const std::string& key : keys) pairs.push_back({key, fields.text(key)});
    lines.push_back(flow_map(pairs));
  }
  if (scenario.road.wind_m_s.any() && bench.drive.shaft.drag_area_m2 <= 0.0)
    problems.add(list.place,
                 fmt::format("wind needs load.drag_area; the bench \"{}\" has none. Add "
                             "it there, or remove wind.",
                             bench.name));
  check_against_actions(list, scenario, problems);
  return lines;
}

}  // namespace stillrotor
