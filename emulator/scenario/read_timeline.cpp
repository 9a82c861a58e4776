#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <numeric>
#include <optional>
#include <set>

#include "emulator/bench/nearest.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/readers.hpp"
#include "emulator/scenario/vocabulary.hpp"

namespace stillrotor {
namespace {

const std::vector<std::string> legs{"U", "V", "W"};
const std::vector<std::string> levels{"low", "high"};

struct Option {
  const char *name, *allowed, *example;
};
constexpr Option options[] = {{"over", "0 s to 3600 s", "1 s"},
                              {"line", "U, V, W", "U"},
                              {"level", "low, high", "high"},
                              {"resistance", "0 ohm to 100 ohm", "50 mohm"}};

const std::vector<std::string>& fault_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const FaultWord& word : fault_words()) all.emplace_back(word.name);
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

const std::vector<std::string>& all_keys() {
  static const std::vector<std::string> keys = [] {
    std::vector<std::string> all{"at"};
    all.insert(all.end(), doing().begin(), doing().end());
    for (const Option& option : options) all.emplace_back(option.name);
    return all;
  }();
  return keys;
}

struct ReadAction {
  Action action;
  Place place;
  std::string line;  // of the resolved file
};

class ActionReader {
 public:
  ActionReader(const YamlNode& node, const Bench& bench, std::int64_t lasts_ps, Problems& problems)
      : fields_(node, "an action", all_keys(), problems), bench_(bench), lasts_ps_(lasts_ps) {}

  std::optional<ReadAction> read() {
    const auto at = fields_.time_ps(
        "at", 0.0, static_cast<double>(lasts_ps_) * 1e-12,
        fmt::format("0 s to lasts, {:g} s", static_cast<double>(lasts_ps_) * 1e-12));
    if (!fields_.has("at"))
      fields_.wrong("at", "at is missing; allowed 0 s to the scenario's end. Write at: 1 s.");
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
    if (!good || !at) return {};
    read_.action.at_ps = *at;
    read_.place = fields_.place();
    pairs_.insert(pairs_.begin(), {"at", fields_.text("at")});
    read_.line = flow_map(pairs_);
    return read_;
  }

 private:
  bool read_word(const std::string& name) {
    const auto words = action_words();
    const ActionWord& word = *std::find_if(words.begin(), words.end(),
                                           [&](const ActionWord& w) { return w.name == name; });
    Action& action = read_.action;
    action.kind = word.kind;
    const std::string written = fields_.text(name);
    pairs_.emplace_back(name, written);
    action.label = fmt::format("{} {}", name, written);
    using Form = ActionWord::Form;
    bool good = allow_only(name, word.form == Form::ramp ? "over" : "");
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
    return good && has_wire(word) && has_part(word);
  }

  bool read_ramp() {
    const auto over = fields_.time_ps("over", 0.0, 3600.0, "0 s to 3600 s");
    Action& action = read_.action;
    action.over_ps = over.value_or(0);
    if (action.over_ps > 0) action.label += " over " + fields_.text("over");
    pairs_.emplace_back("over", fields_.has("over") ? fields_.text("over") : "0 s");
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
    const FaultWord& word = fault_words()[*index];
    Action& action = read_.action;
    action.kind = ActionKind::fault;
    action.fault = word.kind;
    action.cleared = key == "clear";
    // What ends a fault needs no more than where it is.
    const auto takes = [&](std::string_view option) {
      return word.takes(option) && (option == "line" || !action.cleared);
    };
    bool good = true;
    for (const Option& option : options)
      good = option_fits(key, word, option, takes(option.name)) && good;
    pairs_ = {{key, std::string(word.name)}};
    action.label = event_name(action);
    const auto note = [&](const std::string& option) {
      pairs_.emplace_back(option, fields_.text(option));
      action.label += " " + fields_.text(option);
    };
    if (takes("line")) {
      const auto leg = fields_.choice("line", legs);
      action.leg = static_cast<int>(leg.value_or(0));
      if (leg) note("line");
      good = good && leg;
    }
    if (takes("level")) {
      const auto level = fields_.choice("level", levels);
      action.stuck_high = level.value_or(0) == 1;
      if (level) note("level");
      good = good && level;
    }
    if (takes("resistance")) {
      const auto ohm =
          fields_.quantity("resistance", Family::resistance, 0.0, 100.0, "0 ohm to 100 ohm");
      action.value = ohm.value_or(0.0);
      if (ohm) note("resistance");
      good = good && ohm;
    }
    return good && has_part(key, word);
  }

  /// It stands there exactly where it means something.
  bool option_fits(const std::string& key, const FaultWord& word, const Option& option, bool due) {
    if (fields_.has(option.name) == due) return true;
    if (due)
      fields_.wrong(key, fmt::format("{} needs {}; allowed {}. Write {}: {}.", word.name,
                                     option.name, option.allowed, option.name, option.example));
    else
      means_nothing(option.name, key);
    return false;
  }

  void means_nothing(const std::string& option, const std::string& beside) {
    fields_.wrong(option, fmt::format("{} means nothing beside {}. Remove it.", option, beside));
  }

  /// Options only where they mean something.
  bool allow_only(const std::string& action, std::string_view allowed) {
    bool good = true;
    for (const Option& option : options)
      if (fields_.has(option.name) && option.name != allowed) {
        means_nothing(option.name, action);
        good = false;
      }
    return good;
  }

  bool has_part(const std::string& key, const FaultWord& word) {
    const auto& drive = bench_.drive;
    const plant::AbsoluteAngleParameters& angle = drive.absolute_angle;
    bool there = true;
    switch (word.kind) {
      case FaultKind::hall_line_open:
      case FaultKind::hall_line_stuck:
        there = bench_.harness
                    .lines[io::index(io::line::hall_U) + static_cast<std::size_t>(read_.action.leg)]
                    .connected;
        break;
      case FaultKind::phase_open:
        break;
      case FaultKind::bad_joint:
        there = !drive.induction && drive.machine.flux_map.psi_d_Wb.empty();
        break;
      case FaultKind::angle_sensor_error:
        there = angle.output == plant::AngleOutput::spi ||
                (angle.output == plant::AngleOutput::ssi && angle.ssi.error_bit);
        break;
    }
    if (!there)
      fields_.wrong(key,
                    fmt::format("{} needs {}; the bench \"{}\" has none. Change it there ({}), "
                                "or remove the fault.",
                                word.name, word.needs, bench_.name, word.where));
    return there;
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
  ReadAction read_;
  std::vector<std::pair<std::string, std::string>> pairs_;
};

/// A fault comes before its end, and only once until then.
void check_order_of_faults(const std::vector<ReadAction>& actions, Problems& problems) {
  std::set<std::pair<FaultKind, int>> present;
  for (const auto& [action, place, line] : actions) {
    if (action.kind != ActionKind::fault) continue;
    const std::pair key{action.fault, action.leg};
    const bool changes = action.cleared ? present.erase(key) == 1 : present.insert(key).second;
    if (!changes)
      problems.add(place, fmt::format("{}: at this time the fault is {} already. Check the order "
                                      "in time.",
                                      action.label, action.cleared ? "absent" : "present"));
  }
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
  std::stable_sort(actions.begin(), actions.end(), [](const ReadAction& a, const ReadAction& b) {
    return a.action.at_ps < b.action.at_ps;
  });
  check_order_of_faults(actions, problems);
  std::vector<std::string> lines;
  for (ReadAction& read : actions) {
    scenario.timeline.push_back(std::move(read.action));
    lines.push_back(std::move(read.line));
  }
  return lines;
}

}  // namespace stillrotor
