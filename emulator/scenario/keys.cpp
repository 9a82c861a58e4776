#include "emulator/scenario/keys.hpp"

#include <algorithm>
#include <map>

#include "emulator/faults/fault.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

using Form = ScenarioKey::Form;

ScenarioKey text(std::string map, std::string key, std::string what, bool required = false) {
  ScenarioKey row;
  row.map = std::move(map);
  row.key = std::move(key);
  row.required = required;
  row.text = std::move(what);
  return row;
}
ScenarioKey quantity(std::string map, std::string key, Family family, std::string allowed,
                     std::string what, bool required = false) {
  ScenarioKey row = text(std::move(map), std::move(key), std::move(what), required);
  row.form = Form::quantity;
  row.family = family;
  row.allowed = std::move(allowed);
  return row;
}
ScenarioKey time(std::string map, std::string key, std::string allowed, std::string what,
                 bool required = false) {
  return quantity(std::move(map), std::move(key), Family::time, std::move(allowed), std::move(what),
                  required);
}
ScenarioKey nested(std::string map, std::string key, Form form, std::string of, std::string what) {
  ScenarioKey row = text(std::move(map), std::move(key), std::move(what));
  row.form = form;
  row.of = std::move(of);
  return row;
}
ScenarioKey words(std::string map, std::string key, std::vector<std::string> allowed,
                  std::string what) {
  ScenarioKey row = text(std::move(map), std::move(key), std::move(what));
  row.form = Form::word;
  row.words = std::move(allowed);
  return row;
}
ScenarioKey on_off(std::string map, std::string key, std::string what) {
  ScenarioKey row = text(std::move(map), std::move(key), std::move(what));
  row.form = Form::on_off;
  row.allowed = "on or off";
  return row;
}

template <class Range>
std::vector<std::string> as_words(const Range& range) {
  return {range.begin(), range.end()};
}

/// What an action can do, and what may stand beside it.
void add_actions(std::vector<ScenarioKey>& rows) {
  for (const ActionWord& word : action_words()) {
    const std::string name(word.name), what(word.text);
    if (word.form == ActionWord::Form::on_off) {
      rows.push_back(on_off("action", name, what));
    } else {
      rows.push_back(quantity("action", name, word.family, std::string(word.allowed), what));
      rows.back().shaped = word.form == ActionWord::Form::ramp;
    }
  }
  std::vector<std::string> faults;
  for (const Fault* fault : fault_catalogue()) faults.emplace_back(fault->name);
  rows.push_back(words("action", "fault", faults, "something breaks"));
  rows.push_back(words("action", "clear", faults, "it is whole again"));
  rows.push_back(time("action", "over", "0 s to 3600 s", "time of a ramp"));
  rows.push_back(on_off("action", "overtakes",
                        "ends the movement that is under way; off where it is not said"));
  rows.push_back(words("action", "body", as_words(body_words), "whose temperature"));
  rows.push_back(
      nested("action", "intermittent", Form::map, "intermittent", "the fault comes and goes"));
  // Options of one name may differ from fault to fault: a word here, a quantity there.
  std::map<std::string, ScenarioKey> options;
  for (const Fault* fault : fault_catalogue())
    for (const FaultOption& option : fault->options) {
      const std::string name(option.name);
      ScenarioKey row = text("action", name, "of a fault, see list faults");
      if (option.words.empty())
        row = quantity("action", name, option.family, "see list faults", row.text);
      else
        row = words("action", name, as_words(option.words), row.text);
      const auto known = options.find(name);
      if (known == options.end()) {
        options.emplace(name, row);
      } else if (known->second.form != row.form || known->second.family != row.family) {
        known->second = text("action", name, row.text);
      } else {
        for (const std::string& word : row.words)
          if (std::find(known->second.words.begin(), known->second.words.end(), word) ==
              known->second.words.end())
            known->second.words.push_back(word);
      }
    }
  for (auto& [name, row] : options) rows.push_back(std::move(row));
}

std::vector<ScenarioKey> all_rows() {
  std::vector<ScenarioKey> rows{
      text("scenario", "scenario", "its name", true),
      time("scenario", "lasts", "1 ms to 3600 s", "how long it runs", true),
      text("scenario", "seed", "of all that is random; 1 where it is not said"),
      nested("scenario", "start", Form::map, "start", "how things stand at time 0"),
      nested("scenario", "parameters", Form::map, "parameters", "values with names"),
      nested("scenario", "include", Form::includes, "include", "parts"),
      nested("scenario", "road", Form::list, "road", "what the cart meets on its way"),
      nested("scenario", "timeline", Form::list, "action", "what is done and what breaks"),
      nested("scenario", "expect", Form::list, "limit", "what has to come out"),

      text("part", "part", "its name"),
      nested("part", "parameters", Form::map, "parameters", "values with names"),
      nested("part", "include", Form::includes, "include", "parts"),
      nested("part", "timeline", Form::list, "action", "what is done and what breaks"),
      nested("part", "expect", Form::list, "limit", "what has to come out"),

      quantity("start", "speed", Family::rotational_speed, "-100000 rpm to 100000 rpm",
               "of the motor's shaft, rolling already"),
      quantity("start", "angle", Family::angle, "-360 deg to 360 deg", "mechanical"),
      on_off("start", "key", "controller supply and key line"),
      quantity("start", "state_of_charge", Family::ratio, "0 % to 100 %", "of the battery"),
      quantity("start", "bus_voltage", Family::voltage, "0 V to 2000 V",
               "of the DC link; the supply's where it is not said"),
      nested("start", "temperature", Form::map, "start temperature", "of bodies that are warm"),

      time("action", "at", "0 s to lasts", "when"),
      text("action", "when", "in the place of at: a condition, see list conditions"),
      text("action", "after", "beside when: watched from this event on"),
      time("action", "by", "0 s to lasts", "beside when: not met by then it never is"),
  };
  for (const std::string_view body : body_words)
    rows.push_back(quantity("start temperature", std::string(body), Family::temperature,
                            "-100 degC to 300 degC", "of this body"));
  add_actions(rows);
  const std::vector<ScenarioKey> rest{
      nested("shape", "sine", Form::map, "sine", "added to the quantity"),
      nested("shape", "noise", Form::map, "noise", "added to the quantity"),
      text("shape", "table", "a CSV file, in the quantity's place"),
      text("sine", "amplitude", "in the quantity's unit", true),
      quantity("sine", "frequency", Family::frequency, "1 mHz to 1 kHz", "of the sine", true),
      time("sine", "for", "1 us to 3600 s", "how long", true),
      text("noise", "rms", "in the quantity's unit", true),
      quantity("noise", "bandwidth", Family::frequency, "1 mHz to 10 kHz",
               "where half the density of power is left", true),
      time("noise", "for", "1 us to 3600 s", "how long", true),

      quantity("intermittent", "probability", Family::ratio, "0.1 % to 99.9 %",
               "share of the time present", true),
      time("intermittent", "lasts", "1 us to 3600 s", "mean time present", true),
      time("intermittent", "for", "1 us to 3600 s", "how long in all", true),

      quantity("road", "at", Family::length, "0 m to 1000 km", "driven", true),
      quantity("road", "over", Family::length, "0 m to 100 km",
               "what the point says changes straight within it"),

      text("limit", "measure", "see list measures", true),
      words("limit", "phase", {"U", "V", "W"}, "of measures by phase"),
      text("limit", "harmonic", "of measures that ask for one, 1 to 100"),
      text("limit", "pattern", "of measures that ask for one, a regular expression"),
      text("limit", "unit", "of measures that have none of their own, as text_number; 1: a count"),
      time("limit", "shortest", "1 ms to 10 s", "of blink_code: shortest light or dark (50 ms)"),
      time("limit", "longest", "1 ms to 10 s", "of blink_code: longest light or dark (800 ms)"),
      time("limit", "pause", "1 ms to 60 s", "of blink_code: dark between groups, at least (1 s)"),
      text("limit", "after", "event: from and to count from it"),
      text("limit", "before", "event: from and to count backwards from it"),
      text("limit", "until", "event: the window ends there, or to later"),
      time("limit", "from", "0 s to lasts", "begin of the window"),
      time("limit", "to", "0 s to lasts", "end of the window"),
      text("limit", "min", "in the measure's unit"),
      text("limit", "max", "in the measure's unit"),
      text("limit", "because", "why"),

      text("include", "from", "path of a part", true),
      time("include", "at", "0 s to 3600 s", "its times come so much later"),

      text("parameter", "value", "what ${name} stands for", true),
      text("parameter", "range", "1 V to 4 V"),
      text("parameter", "text", "what it is"),
  };
  rows.insert(rows.end(), rest.begin(), rest.end());
  for (const std::string_view name : road_words)
    for (const ActionWord& word : action_words())
      if (word.name == name)
        rows.push_back(quantity("road", std::string(name), word.family, std::string(word.allowed),
                                std::string(word.text)));
  return rows;
}

}  // namespace

std::span<const ScenarioKey> scenario_keys() {
  static const std::vector<ScenarioKey> rows = all_rows();
  return rows;
}

const std::vector<std::string>& keys_of(std::string_view map) {
  static const std::map<std::string, std::vector<std::string>, std::less<>> by_map = [] {
    std::map<std::string, std::vector<std::string>, std::less<>> all;
    for (const ScenarioKey& row : scenario_keys()) all[row.map].push_back(row.key);
    return all;
  }();
  return by_map.find(map)->second;
}

}  // namespace stillrotor
