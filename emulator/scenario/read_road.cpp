#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/bench_needs.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/read_action.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

constexpr double farthest_m = 1e6;

/// In the order of road_words.
constexpr std::array<RoadLine Road::*, road_words.size()> lines_of_words{
    &Road::slope, &Road::wind_m_s, &Road::rolling, &Road::grip};

const ActionWord& word_of(std::string_view name) {
  const auto words = action_words();
  return *std::find_if(words.begin(), words.end(),
                       [&](const ActionWord& word) { return word.name == name; });
}

/// From its last value straight to the new one, which it has over_m further on.
void extend(RoadLine& line, double at_m, double value, double over_m) {
  if (line.any()) {
    line.points.push_back({at_m, line.points.back().value});
    line.points.push_back({at_m + over_m, value});
  } else {
    line.points.push_back({at_m, value});
  }
}

/// The bench has what the road moves, and no action moves it too.
void check_quantity(const YamlNode& list, const ActionWord& word, const Bench& bench,
                    const Scenario& scenario, Problems& problems) {
  if (const std::string_view needs = missing_part(word.kind, bench); !needs.empty())
    problems.add(list.place, fmt::format("{} needs {}; the bench \"{}\" has none. Add it there, or "
                                         "remove {}.",
                                         word.name, needs, bench.name, word.name));
  for_each_action(scenario, [&](const Action& action) {
    if (action.kind == word.kind)
      problems.add(list.place, fmt::format("the road gives {}, and so does the action \"{}\". "
                                           "Remove one of them.",
                                           word.name, action.label));
  });
}

}  // namespace

bool road_gives(const Road& road, ActionKind kind) noexcept {
  for (std::size_t k = 0; k < road_words.size(); ++k)
    if (word_of(road_words[k]).kind == kind) return (road.*lines_of_words[k]).any();
  return false;
}

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
    bool says_something = false;
    for (std::size_t k = 0; k < road_words.size(); ++k) {
      const ActionWord& word = word_of(road_words[k]);
      says_something |= fields.has(word.name);
      if (const auto value =
              fields.quantity(word.name, word.family, word.least, word.most, word.allowed))
        extend(scenario.road.*lines_of_words[k], at_m, *value, over_m);
    }
    if (!says_something)
      problems.add(node.place, fmt::format("this point says nothing; allowed {}. Write slope: 6 %, "
                                           "or remove it.",
                                           fmt::join(road_words, ", ")));
    std::vector<WrittenPair> pairs;
    for (const std::string& key : keys) pairs.push_back({key, fields.text(key)});
    lines.push_back(flow_map(pairs));
  }
  for (std::size_t k = 0; k < road_words.size(); ++k)
    if ((scenario.road.*lines_of_words[k]).any())
      check_quantity(list, word_of(road_words[k]), bench, scenario, problems);
  return lines;
}

}  // namespace stillrotor
