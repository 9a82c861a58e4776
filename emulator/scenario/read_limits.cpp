#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <regex>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

const std::vector<std::string> phases{"U", "V", "W"};
constexpr std::string_view turns = "electrical turns";
constexpr double longest_s = 3600.0;

class LimitReader {
 public:
  LimitReader(const YamlNode& node, std::span<const KnownMeasure> measures,
              const Scenario& scenario, Problems& problems)
      : fields_(node, "a limit", keys_of("limit"), problems),
        measures_(measures),
        scenario_(scenario) {}

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
    std::vector<WrittenPair> pairs;
    for (const std::string& key : keys_of("limit"))
      pairs.push_back({key, key == "from" && !fields_.has("from") && !fields_.has("before")
                                ? "0 s"
                                : fields_.text(key)});
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
    if (known_->unit.empty() != fields_.has("unit"))
      fields_.wrong(
          fields_.has("unit") ? "unit" : "measure",
          fields_.has("unit")
              ? fmt::format("{} is measured in {}. Remove unit.", limit_.measure, known_->unit)
              : fmt::format("{} needs unit, as in unit: mohm; 1 for a count.", limit_.measure));
    read_blinks();
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

  void read_blinks() {
    Blinks blinks;
    bool said = false;
    const auto read = [&](const char* key, double& to, double most_s, const char* allowed) {
      if (!fields_.has(key)) return;
      said = true;
      if (known_->asks != Asks::blinks)
        fields_.wrong(key, fmt::format("{} takes no {}. Remove it.", limit_.measure, key));
      else if (const auto given = fields_.quantity(key, Family::time, 1e-3, most_s, allowed))
        to = *given;
    };
    read("shortest", blinks.shortest_s, 10.0, "1 ms to 10 s");
    read("longest", blinks.longest_s, 10.0, "1 ms to 10 s");
    read("pause", blinks.pause_s, 60.0, "1 ms to 60 s");
    if (!said || known_->asks != Asks::blinks) return;
    if (!(blinks.shortest_s < blinks.longest_s && blinks.longest_s < blinks.pause_s))
      fields_.wrong(
          "measure",
          fmt::format("a blink lasts {:g} s to {:g} s and a pause from {:g} s on; allowed "
                      "shortest below longest below pause. Change one of them.",
                      blinks.shortest_s, blinks.longest_s, blinks.pause_s));
    limit_.argument =
        fmt::format("{:g} {:g} {:g}", blinks.shortest_s, blinks.longest_s, blinks.pause_s);
  }

  void read_window() {
    Window& window = limit_.window;
    const double lasts_s =
        static_cast<double>(scenario_.lasts_ps) / 1e12;  // not times 1e-12: 3.2 s stays 3.2 s
    window.after = fields_.text("after");
    window.until = fields_.text("until");
    window.before = fields_.text("before");
    const bool backwards = !window.before.empty();
    for (const char* key : {"after", "until"})
      if (backwards && fields_.has(key))
        fields_.wrong(key, fmt::format("{} means nothing beside before. Remove one of them.", key));
    const bool from_hangs = backwards || !window.after.empty();
    const bool to_hangs = from_hangs || !window.until.empty();
    const auto time = [&](const char* key, bool hangs) {
      const double most = hangs ? longest_s : lasts_s;
      return fields_.quantity(key, Family::time, 0.0, most,
                              hangs ? fmt::format("0 s to {:g} s", longest_s)
                                    : fmt::format("0 s to lasts, {:g} s", lasts_s));
    };
    const auto from = time("from", from_hangs), to = time("to", to_hangs);
    window.from_s = from.value_or(backwards ? -1.0 : 0.0);
    window.to_s = to.value_or(to_hangs && (backwards || !window.until.empty()) ? 0.0 : -1.0);
    check_order(window, to.has_value());
    for (const auto& [key, event] :
         {std::pair{"after", &window.after}, {"until", &window.until}, {"before", &window.before}})
      check_event(key, *event);
  }

  void check_order(const Window& window, bool to_is_said) const {
    const bool backwards = !window.before.empty();
    const bool empty = backwards
                           ? window.from_s >= 0.0 && window.to_s >= window.from_s
                           : to_is_said && window.until.empty() && window.to_s <= window.from_s;
    if (!empty) return;
    const std::string from = fields_.has("from") ? fields_.text("from") : "0 s";
    const std::string to = fields_.has("to") ? fields_.text("to") : "0 s";
    fields_.wrong(fields_.has("to") ? "to" : "from",
                  backwards ? fmt::format("from is {} and to is {} before {}; allowed only from "
                                          "longer before it. Swap or widen them.",
                                          from, to, window.before)
                            : fmt::format("to is {} and from is {}; allowed only later than from. "
                                          "Swap or widen them.",
                                          to, from));
  }

  void check_event(const char* key, const std::string& event) const {
    const std::vector<std::string> events = event_names(scenario_);
    if (event.empty() || std::find(events.begin(), events.end(), event) != events.end()) return;
    fields_.wrong(key, events.empty()
                           ? fmt::format("{} names an event, and the timeline makes none. Remove "
                                         "it, or add the action.",
                                         key)
                           : fmt::format("the timeline never makes the event \"{}\".{}", event,
                                         suggestion(event, events)));
  }

  /// A bound in the measure's unit; a time also in electrical turns.
  std::optional<double> read_bound(const std::string& key) {
    const std::string written = fields_.text(key);
    if (written.empty() || unknown_) return {};
    std::string unit(known_ != nullptr ? known_->unit : std::string_view());
    Conversion conversion;
    if (fields_.has("unit")) {
      unit = fields_.text("unit");
      conversion = in_unit(written, unit);
    } else if (const auto count = in_turns(written)) {
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

  /// In a unit of the limit's own, whatever family that belongs to.
  static Conversion in_unit(const std::string& written, const std::string& unit) {
    if (unit == "1") return to_unit(written, unit);
    std::string si;
    const Conversion zero = to_any("0 " + unit, si), one = to_any("1 " + unit, si);
    if (!zero || !one) return zero ? one : zero;
    Conversion bound = to_unit(written, si);
    // 27 mohm in mohm are 27, not 27.000000000000004.
    if (bound)
      bound.si = std::stod(fmt::format("{:.12g}", (bound.si - zero.si) / (one.si - zero.si)));
    return bound;
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
    const bool has_moment = node.find("at") != nullptr || node.find("when") != nullptr;
    if (has_moment && node.find("measure") == nullptr) {
      problems.add(node.place,
                   "this is an action, which is no limit. Move it to the lines under timeline:.");
      continue;
    }
    LimitReader reader(node, measures, scenario, problems);
    scenario.expect.push_back(reader.read());
    lines.push_back(reader.line());
  }
  return lines;
}

}  // namespace stillrotor
