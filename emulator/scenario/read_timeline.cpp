#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <map>
#include <numeric>
#include <optional>
#include <set>
#include <tuple>

#include "emulator/bench/nearest.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

constexpr std::string_view ramp_time = "over";
constexpr double longest_s = 3600.0;

/// What may stand beside what is done: the ramp's time and all faults' options.
const std::vector<std::string>& options() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all{std::string(ramp_time), "body", "intermittent"};
    for (const Fault* fault : fault_catalogue())
      for (const FaultOption& option : fault->options)
        if (std::find(all.begin(), all.end(), option.name) == all.end())
          all.emplace_back(option.name);
    return all;
  }();
  return names;
}

const std::vector<std::string>& fault_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const Fault* fault : fault_catalogue()) all.emplace_back(fault->name);
    return all;
  }();
  return names;
}

const std::vector<std::string>& doing() {
  static const std::vector<std::string> keys = [] {
    std::vector<std::string> all;
    for (const ActionWord& word : action_words()) all.emplace_back(word.name);
    all.insert(all.end(), {"fault", "clear"});
    return all;
  }();
  return keys;
}

struct ReadAction {
  std::optional<Condition> condition;  // else it has a time
  Action action;
  Place place;
  std::string line;  // of the resolved file
  std::optional<Flickering> flickering;
};

class ActionReader {
 public:
  ActionReader(const YamlNode& node, const Bench& bench, std::int64_t lasts_ps, Problems& problems)
      : fields_(node, "an action", keys_of("action"), problems),
        bench_(bench),
        lasts_ps_(lasts_ps),
        problems_(problems) {}

  std::optional<ReadAction> read() {
    const bool timely = read_moment();
    std::vector<std::string> found;
    for (const std::string& key : doing())
      if (fields_.has(key)) found.push_back(key);
    if (found.size() != 1) {
      fields_.wrong("at", fmt::format("this action says {}; allowed exactly one of {}. Write one "
                                      "line for each.",
                                      found.empty() ? std::string("nothing to do")
                                                    : fmt::format("{}", fmt::join(found, " and ")),
                                      fmt::join(doing(), ", ")));
      return {};
    }
    const bool good =
        found[0] == "fault" || found[0] == "clear" ? read_fault(found[0]) : read_word(found[0]);
    if (!good || !timely) return {};
    read_.place = fields_.place();
    if (const auto& condition = read_.condition) {
      read_.action.label += " when " + condition->text;
      if (condition->what != Watched::time_since && !condition->after.empty())
        read_.action.label += " after " + condition->after;
    }
    for (WrittenPair& pair : pairs_) moment_.push_back(std::move(pair));
    read_.line = flow_map(moment_);
    return read_;
  }

 private:
  using Pairs = std::vector<WrittenPair>;

  /// Its time, or what it waits for.
  bool read_moment() {
    const double lasts_s =
        static_cast<double>(lasts_ps_) / 1e12;  // not times 1e-12: 3.2 s stays 3.2 s
    if (fields_.has("when")) {
      if (fields_.has("at")) {
        fields_.wrong("at", "at means nothing beside when. Remove one of them.");
        return false;
      }
      read_.condition = read_condition(fields_, bench_, lasts_ps_);
      moment_ = {{"when", fields_.text("when")},
                 {"after", fields_.text("after")},
                 {"by", fields_.has("by") ? fields_.text("by") : from_si(lasts_s, Family::time)}};
      return read_.condition.has_value();
    }
    bool good = true;
    for (const char* key : {"after", "by"})
      if (fields_.has(key)) {
        fields_.wrong(key, fmt::format("{} means nothing without when. Remove it, or write when: "
                                       "speed > 300 rpm.",
                                       key));
        good = false;
      }
    const auto at =
        fields_.time_ps("at", 0.0, lasts_s, fmt::format("0 s to lasts, {:g} s", lasts_s));
    if (!fields_.has("at"))
      fields_.wrong("at",
                    "at is missing; allowed 0 s to the scenario's end. Write at: 1 s, or "
                    "when: speed > 300 rpm.");
    read_.action.at_ps = at.value_or(0);
    moment_ = {{"at", fields_.text("at")}};
    return good && at;
  }

  bool read_word(const std::string& name) {
    const auto words = action_words();
    const ActionWord& word = *std::find_if(words.begin(), words.end(),
                                           [&](const ActionWord& w) { return w.name == name; });
    Action& action = read_.action;
    action.kind = word.kind;
    using Form = ActionWord::Form;
    const bool heats = word.kind == ActionKind::temperature;
    bool good = allow_only(name, {word.form == Form::ramp ? ramp_time : "", heats ? "body" : ""});
    if (heats) good = read_body() && good;
    const YamlNode* value_node = fields_.node(name);
    if (word.form == Form::ramp && value_node->kind == YamlNode::Kind::map)
      return read_shaped(word, *value_node) && good && has_wire(word) && has_part(word);
    const std::string written = fields_.text(name);
    pairs_.push_back({name, written});
    action.label = fmt::format("{} {}", name, written);
    if (word.form == Form::on_off) {
      const auto value = fields_.on_off(name);
      action.value = value.value_or(false) ? 1.0 : 0.0;
      action.label = event_name(action);
      good = good && value.has_value();
    } else {
      const auto value =
          written_as_position(word, written)
              ? throttle_V(fields_.quantity(name, Family::ratio, 0.0, 1.0, "0 % to 100 %"))
              : fields_.quantity(name, word.family, word.least, word.most, word.allowed);
      action.value = value.value_or(0.0);
      good = good && value.has_value();
      if (word.form == Form::ramp) good = read_ramp() && good;
    }
    action.mark = event_name(action);
    return good && has_wire(word) && has_part(word);
  }

  bool read_shaped(const ActionWord& word, const YamlNode& node) {
    if (fields_.has(ramp_time)) {
      means_nothing(std::string(ramp_time), "a shape, which has its own time");
      return false;
    }
    const Controls& c = bench_.controls;
    auto read =
        read_shape(node,
                   {word.name, word.family, word.least, word.most, word.allowed,
                    word.kind == ActionKind::throttle, c.throttle_idle_V, c.throttle_full_V},
                   problems_);
    if (!read) return false;
    Action& action = read_.action;
    action.shape = std::make_shared<const Shape>(std::move(read->shape));
    action.least = word.least;
    action.most = word.most;
    action.label = fmt::format("{} {}", word.name, read->label);
    action.mark = event_name(action);
    pairs_.push_back({std::string(word.name), read->written, true});
    return true;
  }

  /// Which body's temperature.
  bool read_body() {
    const std::vector<std::string> bodies(body_words.begin(), body_words.end());
    if (!fields_.has("body")) {
      fields_.wrong("temperature", fmt::format("temperature needs body; allowed {}. Write body: "
                                               "winding.",
                                               fmt::join(bodies, ", ")));
      return false;
    }
    const auto body = fields_.choice("body", bodies);
    read_.action.body = body.value_or(0);
    pairs_.push_back({"body", fields_.text("body")});
    return body.has_value();
  }

  /// The times at which it comes and goes are drawn later, when its place in the timeline is known.
  bool read_intermittent(const Fault& fault) {
    const YamlNode* node = fields_.node("intermittent");
    if (node == nullptr) return true;
    const std::vector<std::string>& keys = keys_of("intermittent");
    const Fields fields(*node, "intermittent", keys, problems_);
    const auto share =
        fields.quantity("probability", Family::ratio, 1e-3, 0.999, "0.1 % to 99.9 %");
    const auto present =
        fields.quantity("lasts", Family::time, 1e-6, longest_s, "1 us to 3600 s, a mean");
    const auto lasts = fields.quantity("for", Family::time, 1e-6, longest_s, "1 us to 3600 s");
    for (const std::string& key : keys)
      if (!fields.has(key))
        problems_.add(node->place,
                      fmt::format("intermittent needs {}. Write intermittent: {{probability: 10 %, "
                                  "lasts: 5 ms, for: 2 s}}.",
                                  key));
    if (fault.end == nullptr)
      problems_.add(node->place, fmt::format("{} lasts to the end of the run; nothing mends it. "
                                             "Remove intermittent.",
                                             fault.name));
    if (!share || !present || !lasts || fault.end == nullptr) return false;
    constexpr double most_flips = 10'000.0;
    if (*lasts * *share / *present > most_flips) {
      problems_.add(node->place,
                    fmt::format("intermittent comes about {:.0f} times; allowed {:.0f}. Lengthen "
                                "lasts, or shorten for.",
                                *lasts * *share / *present, most_flips));
      return false;
    }
    read_.flickering = Flickering{*share, *present, *lasts};
    pairs_.push_back({"intermittent",
                      flow_map({{"probability", fields.text("probability")},
                                {"lasts", fields.text("lasts")},
                                {"for", fields.text("for")}}),
                      true});
    read_.action.label +=
        fmt::format(" {} of the time, {} each, for {}", fields.text("probability"),
                    fields.text("lasts"), fields.text("for"));
    return true;
  }

  bool read_ramp() {
    const auto over = fields_.time_ps("over", 0.0, 3600.0, "0 s to 3600 s");
    Action& action = read_.action;
    action.over_ps = over.value_or(0);
    if (action.over_ps > 0) action.label += " over " + fields_.text("over");
    pairs_.push_back({"over", fields_.has("over") ? fields_.text("over") : "0 s"});
    return over || !fields_.has("over");
  }

  static bool written_as_position(const ActionWord& word, const std::string& written) {
    return word.kind == ActionKind::throttle && written.ends_with('%');
  }
  std::optional<double> throttle_V(std::optional<double> position) const {
    const Controls& c = bench_.controls;
    if (position)
      *position = c.throttle_idle_V + *position * (c.throttle_full_V - c.throttle_idle_V);
    return position;
  }

  bool read_fault(const std::string& key) {
    const auto index = fields_.choice(key, fault_names());
    if (!index) return false;
    const Fault& fault = *fault_catalogue()[*index];
    const bool cleared = key == "clear";
    if (cleared && fault.end == nullptr) {
      fields_.wrong(key, fmt::format("{} lasts to the end of the run; nothing mends it. Remove "
                                     "this line.",
                                     fault.name));
      return false;
    }
    // What ends a fault needs no more than which of several alike it is.
    std::vector<const FaultOption*> due;
    for (const FaultOption& option : fault.options)
      due.push_back(cleared && !option.which ? nullptr : &option);
    bool good = true;
    for (const std::string& name : options())
      if (fields_.has(name) && (cleared || name != "intermittent") &&
          std::none_of(due.begin(), due.end(), [&](const FaultOption* option) {
            return option != nullptr && option->name == name;
          })) {
        means_nothing(name, key);
        good = false;
      }
    pairs_ = {{key, std::string(fault.name)}};
    std::string said;
    FaultSettings settings;
    for (std::size_t k = 0; k < due.size(); ++k) {
      if (due[k] == nullptr) continue;
      const auto value = read_option(key, fault, *due[k]);
      settings.value[k] = value.value_or(0.0);
      good = good && value;
      const std::string text =
          fields_.has(due[k]->name) ? fields_.text(due[k]->name) : std::string(due[k]->preset);
      pairs_.push_back({std::string(due[k]->name), text});
      said += " " + text;
    }
    const std::int64_t at_ps = read_.action.at_ps;
    read_.action = fault_action(fault, settings, cleared);
    read_.action.at_ps = at_ps;
    read_.action.label = read_.action.mark + said;
    good = read_intermittent(fault) && good;
    return good && has_part(key, fault, settings);
  }

  std::optional<double> read_option(const std::string& key, const Fault& fault,
                                    const FaultOption& option) {
    if (!fields_.has(option.name)) {
      if (!option.preset.empty()) return preset(option);
      fields_.wrong(key, fmt::format("{} needs {}; allowed {}. Write {}: {}.", fault.name,
                                     option.name, option.allowed, option.name, option.example));
      return {};
    }
    if (option.words.empty())
      return fields_.quantity(option.name, option.family, option.least, option.most,
                              option.allowed);
    const std::vector<std::string> words(option.words.begin(), option.words.end());
    if (const auto word = fields_.choice(option.name, words)) return static_cast<double>(*word);
    return {};
  }

  static double preset(const FaultOption& option) {
    if (option.words.empty()) return to_si(option.preset, option.family).si;
    return static_cast<double>(std::find(option.words.begin(), option.words.end(), option.preset) -
                               option.words.begin());
  }

  void means_nothing(const std::string& option, const std::string& beside) {
    fields_.wrong(option, fmt::format("{} means nothing beside {}. Remove it.", option, beside));
  }

  /// Options only where they mean something.
  bool allow_only(const std::string& action, std::initializer_list<std::string_view> allowed) {
    bool good = true;
    for (const std::string& option : options())
      if (fields_.has(option) &&
          std::find(allowed.begin(), allowed.end(), option) == allowed.end()) {
        means_nothing(option, action);
        good = false;
      }
    return good;
  }

  bool has_part(const std::string& key, const Fault& fault, const FaultSettings& settings) {
    if (fault.fits == nullptr || fault.fits(bench_, settings)) return true;
    fields_.wrong(key, fmt::format("{} needs {}; the bench \"{}\" has none. Change it there ({}), "
                                   "or remove the fault.",
                                   fault.name, fault.needs, bench_.name, fault.where));
    return false;
  }

  bool has_wire(const ActionWord& word) {
    const auto& harness = bench_.harness;
    const bool pulse = harness.lines[io::index(io::line::command_pulse)].connected;
    bool wired = true;
    if (word.kind == ActionKind::throttle)
      wired = harness.channels[io::index(io::channel::throttle)] || pulse;
    if (word.kind == ActionKind::command_pulse) wired = pulse;
    if (word.kind == ActionKind::brake) wired = harness.lines[io::index(io::line::brake)].connected;
    if (word.kind == ActionKind::reverse)
      wired = harness.lines[io::index(io::line::reverse)].connected;
    if (!wired)
      fields_.wrong(word.name, fmt::format("{} has no wire on the bench \"{}\". Add it to harness "
                                           "there, or remove the action.",
                                           word.name, bench_.name));
    return wired;
  }

  bool has_part(const ActionWord& word) {
    const plant::ShaftParameters& load = bench_.drive.shaft;
    const plant::GateDriverParameters& driver = bench_.drive.gate_driver;
    std::string_view needs;
    if (word.kind == ActionKind::wind && load.drag_area_m2 <= 0.0) needs = "load.drag_area";
    if (word.kind == ActionKind::pedal_torque && load.cart_mass_kg <= 0.0) needs = "load.cart_mass";
    if (word.kind == ActionKind::held_speed && load.hold != plant::Hold::start_speed)
      needs = "load.kind: dynamometer";
    if (word.kind == ActionKind::driver_supply && driver.undervoltage_V <= 0.0 &&
        driver.bootstrap.capacitance_F <= 0.0)
      needs = "bridge.driver.undervoltage or bridge.driver.bootstrap.capacitance";
    if (needs.empty()) return true;
    fields_.wrong(word.name, fmt::format("{} needs {}; the bench \"{}\" has none. Add it there, or "
                                         "remove the action.",
                                         word.name, needs, bench_.name));
    return false;
  }

  Fields fields_;
  const Bench& bench_;
  std::int64_t lasts_ps_;
  Problems& problems_;
  ReadAction read_;
  Pairs moment_, pairs_;  // of the resolved file
};

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
  for (const auto& [condition, action, place, line, flickering] : actions) {
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

/// What is random in an action, by its place in the timeline.
void draw(ReadAction& read, std::uint64_t seed, std::size_t place) {
  Action& action = read.action;
  if (read.flickering) {
    action.flips = draw_flips(*read.flickering, seed, place);
    action.end_mark = action.mark + std::string(cleared_ending);
  }
  if (action.shape && action.shape->kind == Shape::Kind::noise) {
    Shape drawn = *action.shape;
    draw_noise(drawn, seed, place);
    action.shape = std::make_shared<const Shape>(std::move(drawn));
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
    if (auto action = ActionReader(node, bench, scenario.lasts_ps, problems).read())
      actions.push_back(std::move(*action));
  // By time first, then what waits.
  std::stable_sort(actions.begin(), actions.end(), [](const ReadAction& a, const ReadAction& b) {
    if (a.condition || b.condition) return !a.condition && b.condition;
    return a.action.at_ps < b.action.at_ps;
  });
  check_order_of_faults(actions, problems);
  check_overlaps(actions, problems);
  check_events(actions, scenario.start.key, problems);
  std::vector<std::string> lines;
  for (std::size_t k = 0; k < actions.size(); ++k) {
    ReadAction& read = actions[k];
    draw(read, scenario.seed, k);
    if (read.condition)
      scenario.waiting.push_back({std::move(*read.condition), std::move(read.action)});
    else
      scenario.timeline.push_back(std::move(read.action));
    lines.push_back(std::move(read.line));
  }
  return lines;
}

}  // namespace stillrotor
