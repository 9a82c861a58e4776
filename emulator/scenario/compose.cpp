#include "emulator/scenario/compose.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t deepest_chain = 8;
constexpr int most_parts = 100;
constexpr double longest_s = 3600.0;

struct ScenarioParameter {
  std::string name, value, range, text;
};

class Composer {
 public:
  explicit Composer(Problems& problems) : problems_(problems) {}

  ComposedScenario compose(const fs::path& file, std::span<const std::string> settings) {
    ComposedScenario done;
    YamlNode root = read_yaml(file, file.string());
    chain_.push_back(fs::weakly_canonical(file));
    take_parameters(root);
    include_parts(root, file, 0.0);
    set(settings, done.overrides);
    for (auto& [key, value] : root.entries) replace(value);
    for (Late& late : late_) {
      replace(late.node);
      if (late.offset_s > 0.0) shift(late);
    }
    append(root, "timeline", actions_);
    append(root, "expect", limits_);
    for (const ScenarioParameter& p : parameters_)
      done.parameters.push_back(fmt::format(
          "{}: {}", p.name, flow_map({{"value", p.value}, {"range", p.range}, {"text", p.text}})));
    done.root = std::move(root);
    return done;
  }

 private:
  /// An action or a limit of a part.
  struct Late {
    YamlNode node;
    double offset_s;
  };

  static YamlNode take(YamlNode& map, std::string_view key) {
    const auto one = std::find_if(map.entries.begin(), map.entries.end(),
                                  [&](const auto& entry) { return entry.first.text == key; });
    if (one == map.entries.end()) return {};
    YamlNode taken = std::move(one->second);
    map.entries.erase(one);
    return taken;
  }

  // ---- parts

  void include_parts(YamlNode& from, const fs::path& file, double offset_s) {
    const YamlNode list = take(from, "include");
    if (list.kind == YamlNode::Kind::nothing) return;
    if (list.kind != YamlNode::Kind::sequence) {
      problems_.add(list.place, "include is a list; write include: [parts/start-up.yaml].");
      return;
    }
    for (const YamlNode& item : list.items) {
      double later_s = 0.0;
      const YamlNode* named = &item;
      if (item.kind == YamlNode::Kind::map) {
        const Fields fields(item, "an include", keys_of("include"), problems_);
        later_s =
            fields.quantity("at", Family::time, 0.0, longest_s, "0 s to 3600 s").value_or(0.0);
        named = item.find("from");
      }
      if (named == nullptr || named->kind != YamlNode::Kind::scalar || named->text.empty()) {
        problems_.add(item.place,
                      "include needs the path of a part, relative to this file. Write "
                      "parts/hill.yaml, or {from: parts/hill.yaml, at: 2 s}.");
        continue;
      }
      read_part(*named, file, offset_s + later_s);
    }
  }

  void read_part(const YamlNode& named, const fs::path& file, double offset_s) {
    const fs::path path = (file.parent_path() / named.text).lexically_normal();
    const fs::path canonical = fs::weakly_canonical(path);
    if (std::find(chain_.begin(), chain_.end(), canonical) != chain_.end()) {
      problems_.add(named.place, fmt::format("include {} leads back to itself. Remove one of them.",
                                             named.text));
      return;
    }
    if (chain_.size() > deepest_chain || ++parts_ > most_parts) {
      problems_.add(named.place,
                    fmt::format("too many parts; allowed {} one inside the other, {} in all.",
                                deepest_chain, most_parts));
      return;
    }
    try {
      YamlNode part = read_yaml(path, path.string(), named.place);
      const Fields known(part, "a part of a scenario", keys_of("part"), problems_);
      chain_.push_back(canonical);
      take_parameters(part);
      include_parts(part, path, offset_s);
      chain_.pop_back();
      take_list(part, "timeline", offset_s, actions_);
      take_list(part, "expect", offset_s, limits_);
    } catch (const InputError& error) {
      problems_.add_all(error);
    }
  }

  void take_list(YamlNode& part, const std::string& key, double offset_s,
                 std::vector<std::size_t>& into) {
    YamlNode list = take(part, key);
    if (list.kind == YamlNode::Kind::nothing) return;
    if (list.kind != YamlNode::Kind::sequence) {
      problems_.add(list.place, fmt::format("{} is a list.", key));
      return;
    }
    for (YamlNode& item : list.items) {
      into.push_back(late_.size());
      late_.push_back({std::move(item), offset_s});
    }
  }

  void append(YamlNode& root, const char* key, const std::vector<std::size_t>& which) {
    if (which.empty()) return;
    auto one = std::find_if(root.entries.begin(), root.entries.end(),
                            [&](const auto& entry) { return entry.first.text == key; });
    if (one == root.entries.end()) {
      YamlNode list;
      list.kind = YamlNode::Kind::sequence;
      list.place = root.place;
      root.entries.push_back({{key, root.place}, std::move(list)});
      one = root.entries.end() - 1;
    }
    if (one->second.kind != YamlNode::Kind::sequence) return;  // the reader says so
    for (const std::size_t k : which) one->second.items.push_back(std::move(late_[k].node));
  }

  /// Times that count from the start of the run; those that count from an event stay.
  void shift(Late& late) {
    const bool limit = late.node.find("measure") != nullptr;
    const bool hangs = late.node.find("after") != nullptr || late.node.find("before") != nullptr;
    if (!limit) {
      for (const char* key : {"at", "by"}) shift(late.node, key, late.offset_s);
      return;
    }
    if (hangs) return;
    if (late.node.find("from") == nullptr)
      late.node.entries.push_back(
          {{"from", late.node.place}, {YamlNode::Kind::scalar, "0 s", late.node.place, {}, {}}});
    shift(late.node, "from", late.offset_s);
    if (late.node.find("until") == nullptr) shift(late.node, "to", late.offset_s);
  }

  static void shift(YamlNode& map, std::string_view key, double offset_s) {
    for (auto& [name, value] : map.entries) {
      if (name.text != key) continue;
      const Conversion time = to_si(value.text, Family::time);
      if (time) value.text = from_si(time.si + offset_s, Family::time);  // else the reader says so
    }
  }

  // ---- parameters

  /// What is there already holds: the file's own before its parts'.
  void take_parameters(YamlNode& from) {
    const YamlNode map = take(from, "parameters");
    if (map.kind == YamlNode::Kind::nothing) return;
    if (map.kind != YamlNode::Kind::map) {
      problems_.add(
          map.place,
          "parameters is a map; write parameters: {top: {value: 2.6 V, range: 1 V to 4 V}}.");
      return;
    }
    for (const auto& [key, node] : map.entries) {
      const bool name =
          !key.text.empty() && key.text.size() <= 60 &&
          key.text.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_") == std::string::npos;
      if (!name)
        problems_.add(key.place,
                      fmt::format("{} is no name of a parameter; allowed 1 to 60 of a to "
                                  "z, 0 to 9 and _. Rename it.",
                                  key.text));
      const Fields fields(node, fmt::format("parameter {}", key.text), keys_of("parameter"),
                          problems_);
      if (!fields.has("value"))
        problems_.add(node.place,
                      fmt::format("parameter {} has no value. Write value: 2.6 V.", key.text));
      ScenarioParameter p{key.text, fields.text("value"), fields.text("range"),
                          fields.text("text")};
      if (find(p.name) != nullptr) continue;
      check(p, p.value, node.place, "value");
      parameters_.push_back(std::move(p));
    }
  }

  ScenarioParameter* find(std::string_view name) {
    const auto one = std::find_if(parameters_.begin(), parameters_.end(),
                                  [&](const ScenarioParameter& p) { return p.name == name; });
    return one == parameters_.end() ? nullptr : &*one;
  }

  /// "1 V to 4 V"
  bool check(const ScenarioParameter& p, const std::string& value, const Place& place,
             std::string_view what) {
    if (p.range.empty() || value.empty()) return true;
    const auto to = p.range.find(" to ");
    std::string unit, unit_most, unit_value;
    const Conversion least = to == std::string::npos ? Conversion{0.0, "no \"to\" in it"}
                                                     : to_any(p.range.substr(0, to), unit);
    const Conversion most =
        to == std::string::npos ? least : to_any(p.range.substr(to + 4), unit_most);
    if (!least || !most || unit != unit_most || least.si > most.si) {
      problems_.add(place,
                    fmt::format("the range of {} is \"{}\"; allowed LEAST to MOST in one unit. "
                                "Write for example 1 V to 4 V.",
                                p.name, p.range));
      return false;
    }
    const Conversion asked = to_any(value, unit_value);
    if (asked && unit_value == unit && asked.si >= least.si && asked.si <= most.si) return true;
    problems_.add(
        place, fmt::format("{} of {} is {}; allowed {}. Change it.", what, p.name, value, p.range));
    return false;
  }

  void set(std::span<const std::string> settings, std::vector<std::string>& overrides) {
    std::vector<std::string> names;
    for (const ScenarioParameter& p : parameters_) names.push_back(p.name);
    for (const std::string& setting : settings) {
      const Place place = whole("--scenario-set " + setting);
      const auto equals = setting.find('=');
      const std::string name = setting.substr(0, equals);
      ScenarioParameter* p = find(name);
      if (equals == std::string::npos || setting.size() == equals + 1) {
        problems_.add(place, "allowed name=value, for example \"top=3 V\".");
      } else if (p == nullptr) {
        problems_.add(place, names.empty() ? "the scenario has no parameters. Remove it."
                                           : fmt::format("unknown parameter {}.{}", name,
                                                         suggestion(name, names)));
      } else if (check(*p, setting.substr(equals + 1), place, "the value")) {
        p->value = setting.substr(equals + 1);
        overrides.push_back(setting);
      }
    }
  }

  /// Every ${name} in it.
  void replace(YamlNode& node) {
    for (auto& [key, value] : node.entries) replace(value);
    for (YamlNode& item : node.items) replace(item);
    if (node.kind != YamlNode::Kind::scalar) return;
    for (std::size_t from = 0; (from = node.text.find("${", from)) != std::string::npos;) {
      const auto end = node.text.find('}', from);
      const std::string name =
          end == std::string::npos ? "" : node.text.substr(from + 2, end - from - 2);
      const ScenarioParameter* p = find(name);
      if (p == nullptr) {
        std::vector<std::string> names;
        for (const ScenarioParameter& known : parameters_) names.push_back(known.name);
        problems_.add(
            node.place,
            fmt::format("\"{}\" names no parameter of the scenario.{}", node.text,
                        names.empty() ? " Add it under parameters." : suggestion(name, names)));
        return;
      }
      node.text.replace(from, end + 1 - from, p->value);
      from += p->value.size();
    }
  }

  Problems& problems_;
  std::vector<fs::path> chain_;
  int parts_ = 0;
  std::vector<ScenarioParameter> parameters_;
  std::vector<Late> late_;
  std::vector<std::size_t> actions_, limits_;
};

}  // namespace

ComposedScenario compose_scenario(const fs::path& file, std::span<const std::string> settings) {
  Problems problems;
  ComposedScenario done = Composer(problems).compose(file, settings);
  problems.throw_if_any();
  return done;
}

}  // namespace stillrotor
