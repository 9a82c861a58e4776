#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <regex>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

const std::vector<std::string> limit_keys{"measure", "phase", "harmonic", "pattern", "after",
                                          "from",    "to",    "min",      "max",     "because"};
const std::vector<std::string> phases{"U", "V", "W"};
constexpr std::string_view turns = "electrical turns";
constexpr double longest_s = 3600.0;

class LimitReader {
 public:
  LimitReader(const YamlNode& node, std::span<const KnownMeasure> measures,
              const Scenario& scenario, Problems& problems)
      : fields_(node, "a limit", limit_keys, problems), measures_(measures), scenario_(scenario) {}

  Limit read() {
    read_measure();
    read_window();
    limit_.min = read_bound("min");
    limit_.max = read_bound("max");
    if (!fields_.has("min") && !fields_.has("max"))
      fields_.wrong("measure",
                    fmt::format("{} has neither min nor max. Add one of them.", limit_.measure));
    if (limit_.min && limit_.max && *limit_.min > *limit_.max)
      fields_.wrong("min", fmt::format("min is {} and max is {}; allowed min up to max. Swap them.",
                                       fields_.text("min"), fields_.text("max")));
    limit_.because = fields_.text("because");
    limit_.origin = fields_.place().origin();
    return limit_;
  }

  std::string line() const {
    std::vector<std::pair<std::string, std::string>> pairs;
    for (const std::string& key : limit_keys)
      pairs.emplace_back(key, key == "from" && !fields_.has("from") ? "0 s" : fields_.text(key));
    return flow_map(pairs);
  }

 private:
  void read_measure() {
    limit_.measure = fields_.text("measure");
    if (!fields_.has("measure")) {
      fields_.wrong("measure", "measure is missing; `list measures` shows what there is.");
      return;
    }
    if (const auto phase = fields_.choice("phase", phases)) limit_.signal = phases[*phase];
    if (measures_.empty()) return;
    const auto found =
        std::find_if(measures_.begin(), measures_.end(),
                     [&](const KnownMeasure& known) { return known.name == limit_.measure; });
    if (found == measures_.end()) {
      std::vector<std::string> names;
      for (const KnownMeasure& known : measures_) names.emplace_back(known.name);
      const std::string near = nearest(limit_.measure, names);
      fields_.wrong("measure", fmt::format("unknown measure {}.{}", limit_.measure,
                                           near.empty() ? " `list measures` shows them all."
                                                        : fmt::format(" Did you mean {}?", near)));
      unknown_ = true;
      return;
    }
    known_ = &*found;
    if (fields_.has("phase") && !known_->per_phase)
      fields_.wrong(
          "phase", fmt::format("{} is not measured phase by phase. Remove phase.", limit_.measure));
    read_argument("harmonic", Asks::harmonic, "harmonic: 6");
    read_argument("pattern", Asks::pattern, "pattern: \"fault [0-9]+\"");
    if (known_->asks == Asks::event && !fields_.has("after"))
      fields_.wrong("measure",
                    fmt::format("{} counts from an event. Name one with after.", limit_.measure));
  }

  void read_argument(const std::string& key, Asks asks, const char* example) {
    const bool asked = known_->asks == asks;
    if (asked != fields_.has(key))
      fields_.wrong(asked ? "measure" : key,
                    asked ? fmt::format("{} needs {}, as in {}.", limit_.measure, key, example)
                          : fmt::format("{} takes no {}. Remove it.", limit_.measure, key));
    if (!asked || !fields_.has(key)) return;
    limit_.argument = fields_.text(key);
    if (asks == Asks::harmonic) {
      const auto order = fields_.quantity(key, Family::ratio, 1.0, 100.0, "1 to 100");
      if (order && *order != std::floor(*order))
        fields_.wrong(
            key, fmt::format("harmonic is {}; allowed whole numbers, 1 to 100.", limit_.argument));
      if (order) limit_.argument = fmt::format("{:g}", *order);
      return;
    }
    try {
      const std::regex valid(limit_.argument);
    } catch (const std::regex_error&) {
      fields_.wrong(key, fmt::format("pattern is {}, which is no regular expression (ECMAScript). "
                                     "Put \\ before signs that stand for themselves.",
                                     limit_.argument));
    }
  }

  void read_window() {
    Window& window = limit_.window;
    const double lasts_s = static_cast<double>(scenario_.lasts_ps) * 1e-12;
    window.after = fields_.text("after");
    const double most = window.after.empty() ? lasts_s : longest_s;
    const std::string allowed = window.after.empty() ? fmt::format("0 s to lasts, {:g} s", lasts_s)
                                                     : fmt::format("0 s to {:g} s", longest_s);
    window.from_s = fields_.quantity("from", Family::time, 0.0, most, allowed).value_or(0.0);
    const auto to = fields_.quantity("to", Family::time, 0.0, most, allowed);
    if (to) window.to_s = *to;
    if (to && *to <= window.from_s)
      fields_.wrong("to", fmt::format("to is {} and from is {}; allowed only later than from. "
                                      "Swap or widen them.",
                                      fields_.text("to"),
                                      fields_.has("from") ? fields_.text("from") : "0 s"));
    const std::vector<std::string> events = event_names(scenario_);
    if (!window.after.empty() &&
        std::find(events.begin(), events.end(), window.after) == events.end())
      fields_.wrong("after", events.empty()
                                 ? "after names an event, and the timeline makes none. "
                                   "Remove it, or add the action."
                                 : fmt::format("the timeline never makes the event "
                                               "\"{}\".{}",
                                               window.after, suggestion(window.after, events)));
  }

  /// A bound in the measure's unit; a time also in electrical turns.
  std::optional<double> read_bound(const std::string& key) {
    const std::string written = fields_.text(key);
    if (written.empty() || unknown_) return {};
    std::string unit(known_ != nullptr ? known_->unit : std::string_view());
    Conversion conversion;
    if (const auto count = in_turns(written)) {
      if (known_ != nullptr && known_->unit != "s" && known_->unit != turns) {
        fields_.wrong(key, fmt::format("{} is {}; {} is measured in {}. Write it in that unit.",
                                       key, written, limit_.measure, known_->unit));
        return {};
      }
      conversion = to_si(*count, Family::ratio);
      unit = turns;
    } else {
      conversion = known_ != nullptr ? to_unit(written, unit) : to_any(written, unit);
    }
    if (!conversion) {
      fields_.wrong(key, fmt::format("{} of {}: {}.", key, limit_.measure, conversion.problem));
      return {};
    }
    if (!limit_.unit.empty() && limit_.unit != unit)
      fields_.wrong(key, fmt::format("min and max are in different units, {} and {}. Write both in "
                                     "one.",
                                     limit_.unit, unit));
    limit_.unit = unit;
    return conversion.si;
  }

  static std::optional<std::string> in_turns(std::string_view written) {
    for (const std::string_view ending : {turns, turns.substr(0, turns.size() - 1)})
      if (written.ends_with(ending))
        return std::string(written.substr(0, written.size() - ending.size()));
    return {};
  }

  Fields fields_;
  std::span<const KnownMeasure> measures_;
  const Scenario& scenario_;
  const KnownMeasure* known_ = nullptr;
  bool unknown_ = false;
  Limit limit_;
};

}  // namespace

std::vector<std::string> read_limits(const YamlNode& list, std::span<const KnownMeasure> measures,
                                     Scenario& scenario, Problems& problems) {
  if (list.kind != YamlNode::Kind::sequence) {
    problems.add(list.place,
                 "expect is a list; write one line \"- {measure: ..., max: ...}\" for "
                 "each limit.");
    return {};
  }
  std::vector<std::string> lines;
  for (const YamlNode& node : list.items) {
    LimitReader reader(node, measures, scenario, problems);
    scenario.expect.push_back(reader.read());
    lines.push_back(reader.line());
  }
  return lines;
}

}  // namespace stillrotor
