#include "emulator/bench/readings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <stdexcept>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/pairs.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

/// `throttle: ADC3` is short for `throttle: {pin: ADC3}`.
constexpr std::array short_for{"pin", "shape"};

const Parameter* find_or_short(const std::string& path) {
  if (const Parameter* found = find_parameter(path)) return found;
  for (const char* last : short_for)
    if (const Parameter* found = find_parameter(fmt::format("{}.{}", path, last))) return found;
  return nullptr;
}

/// The keys that may stand in a section ("" is the top), and whether there are any.
std::vector<std::string> keys_of(const std::string& section) {
  const std::string prefix = section.empty() ? "" : section + ".";
  std::vector<std::string> keys;
  for (const Parameter& parameter : parameter_table())
    if (parameter.path.starts_with(prefix)) {
      std::string key = parameter.path.substr(prefix.size());
      key = key.substr(0, key.find('.'));
      if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(std::move(key));
    }
  return keys;
}

std::string joined(const std::string& section, const std::string& key) {
  return section.empty() ? key : section + "." + key;
}

class Collector {
 public:
  Collector(Readings& readings, Problems& problems) : readings_(readings), problems_(problems) {}

  void take_section(const YamlNode& node, const std::string& section) {
    readings_.sections.push_back(section);
    for (Reading& row : readings_.rows)
      if (row.state == Reading::State::absent && !section.empty() &&
          row.parameter->path.starts_with(section + "."))
        row.place = node.place;
    for (const auto& [key, value] : node.entries)
      take(joined(section, key.text), section, key, value);
  }

 private:
  void take(const std::string& path, const std::string& section, const YamlKey& key,
            const YamlNode& value) {
    using Kind = YamlNode::Kind;
    const Parameter* exact = find_parameter(path);
    const bool is_section = exact == nullptr && !keys_of(path).empty();
    const bool is_map = value.kind == Kind::map;
    const auto* words = exact != nullptr ? std::get_if<Text>(&exact->binding) : nullptr;
    const bool pairs = words != nullptr && words->form.find("pairs ") != words->form.npos && is_map;
    if (is_section && (is_map || value.kind == Kind::nothing)) {
      take_section(value, path);
    } else if (pairs) {
      put(*exact, pairs_text(value), value.place);
    } else if (const Parameter* parameter = find_or_short(path); parameter == nullptr) {
      refuse(path, section, key);
    } else if (value.kind == Kind::scalar && !value.text.empty()) {
      put(*parameter, value.text, value.place);
    } else {
      problems_.add(key.place, fmt::format("{} has no single value; allowed {}. What it is: {}.",
                                           path, allowed(*parameter), parameter->text));
      readings_.at(parameter->path).state = Reading::State::given;
    }
  }

  void put(const Parameter& parameter, const std::string& text, const Place& place) {
    Reading& row = readings_.at(parameter.path);
    if (row.state == Reading::State::given)
      problems_.add(place, fmt::format("{} is given twice; first at {}. Remove one of them.",
                                       parameter.path, row.place.text()));
    row.state = Reading::State::given;
    row.written = text;
    row.place = place;
  }

  void refuse(const std::string& path, const std::string& section, const YamlKey& key) {
    if (!keys_of(path).empty()) {
      problems_.add(key.place, fmt::format("{} is a section; write its keys below it.{}", path,
                                           suggestion("", keys_of(path))));
      return;
    }
    std::string elsewhere;
    if (nearest(key.text, keys_of(section)).empty())
      for (const Parameter& parameter : parameter_table())
        if (parameter.path.ends_with("." + key.text)) {
          elsewhere = fmt::format(" Did you mean {}?", parameter.path);
          break;
        }
    problems_.add(key.place, fmt::format("unknown key {}{}.{}", key.text,
                                         section.empty() ? "" : fmt::format(" in {}", section),
                                         elsewhere.empty() ? suggestion(key.text, keys_of(section))
                                                           : elsewhere));
  }

  static std::string pairs_text(const YamlNode& map) {
    std::string text;
    for (const auto& [key, value] : map.entries)
      text += fmt::format("{}{}: {}", text.empty() ? "" : ", ", key.text, value.text);
    return text;
  }

  Readings& readings_;
  Problems& problems_;
};

void override_values(Readings& readings, const std::vector<std::string>& overrides,
                     Problems& problems) {
  for (const std::string& text : overrides) {
    const Place place = whole("--set " + text);
    const std::size_t equals = text.find('=');
    if (equals == std::string::npos) {
      problems.add(place, "there is no \"=\". Write path=value.");
      continue;
    }
    const std::string path = text.substr(0, equals);
    const Parameter* parameter = find_or_short(path);
    if (const Parameter* settings = find_parameter("controller.settings");
        parameter == nullptr && path.starts_with(settings->path + ".")) {
      Reading& row = readings.at(settings->path);
      row.state = Reading::State::given;
      row.written =
          with_pair(row.written, path.substr(settings->path.size() + 1), text.substr(equals + 1));
      row.place = place;
      continue;
    }
    if (parameter == nullptr) {
      std::vector<std::string> paths;
      for (const Parameter& known : parameter_table()) paths.push_back(known.path);
      const std::string near = nearest(path, paths);
      problems.add(place, fmt::format("unknown parameter {}.{}", path,
                                      near.empty() ? " `list parameters` shows them all."
                                                   : fmt::format(" Did you mean {}?", near)));
      continue;
    }
    Reading& row = readings.at(parameter->path);
    row.state = Reading::State::given;
    row.written = text.substr(equals + 1);
    row.place = place;
  }
}

/// Reads one row. Its default goes in first, so that a wrong value leaves a sane one behind.
void convert_row(Reading& row, Draft& draft, Problems& problems) {
  const Parameter& parameter = *row.parameter;
  if (parameter.need == Need::defaulted) {
    if (const std::string wrong = read_value(parameter, parameter.fallback, draft); !wrong.empty())
      throw std::logic_error("parameter table: " + wrong);
    if (row.state == Reading::State::absent) {
      row.state = Reading::State::defaulted;
      row.written = parameter.fallback;
    }
  }
  if (row.state != Reading::State::given || row.written.empty()) return;
  if (const std::string wrong = read_value(parameter, row.written, draft); !wrong.empty())
    problems.add(row.place, fmt::format("{}. What it is: {}.", wrong, parameter.text));
}

unsigned role_of(const Draft& draft) {
  switch (draft.backend) {
    case 0:
      return role::mcu;
    case 1:
      return std::array{role::six_step, role::field_oriented,
                        role::volts_per_hertz}[static_cast<std::size_t>(draft.kind)];
    case 3:
      return role::gpiod;
    case 4:
      return role::polled;
    case 5:
      return role::hostfw;
    case 6:
      return role::link;
    default:
      return role::capture;
  }
}

}  // namespace

Readings::Readings(const std::string& file) {
  for (const Parameter& parameter : parameter_table())
    rows.push_back({&parameter, Reading::State::absent, true, {}, whole(file)});
}

Reading& Readings::at(std::string_view path) {
  const Parameter* parameter = find_parameter(path);
  if (parameter == nullptr) throw std::logic_error(fmt::format("no parameter {}", path));
  return rows[static_cast<std::size_t>(parameter - parameter_table().data())];
}

bool Readings::has_section(std::string_view path) const noexcept {
  return std::find(sections.begin(), sections.end(), path) != sections.end();
}

void Readings::hide_default(std::string_view path) {
  if (Reading& row = at(path); row.state == Reading::State::defaulted)
    row.state = Reading::State::absent;
}

void Readings::hide_defaults(std::string_view section) {
  const std::string prefix = fmt::format("{}.", section);
  for (Reading& row : rows)
    if (row.state == Reading::State::defaulted && row.parameter->path.starts_with(prefix))
      row.state = Reading::State::absent;
}

Readings collect(const YamlNode& root, const std::string& file,
                 const std::vector<std::string>& overrides, Problems& problems) {
  Readings readings(file);
  Collector(readings, problems).take_section(root, "");
  override_values(readings, overrides, problems);
  return readings;
}

void convert(Readings& readings, Draft& draft, Problems& problems) {
  Problems unread;
  convert_row(readings.at("controller.backend"), draft, unread);
  convert_row(readings.at("controller.kind"), draft, unread);
  convert_row(readings.at("machine.kind"), draft, unread);
  const bool is_standin = draft.backend == 1;
  const bool known = unread.empty() && readings.given("controller.backend") &&
                     (!is_standin || readings.given("controller.kind"));
  const unsigned here = (known ? role_of(draft) : role::any) |
                        (draft.machine_kind == 0 ? role::permanent_magnet : role::induction);
  for (Reading& row : readings.rows) {
    const Parameter& parameter = *row.parameter;
    row.applies = role::fits(parameter.roles, here);
    if (!row.applies) {
      const bool machine = (parameter.roles & role::machine & ~here) != 0;
      const unsigned sort = machine ? role::machine : role::any;
      if (row.state == Reading::State::given)
        problems.add(row.place,
                     fmt::format("{} does not apply to {} {}; it belongs to {}. Remove it.",
                                 parameter.path, machine ? "machine kind" : "backend",
                                 role_names(here & sort), role_names(parameter.roles & sort)));
      row.state = Reading::State::absent;
      continue;
    }
    convert_row(row, draft, problems);
    const bool due = known || (parameter.roles & role::any) == 0 ||
                     (parameter.roles & role::any) == role::any ||
                     (is_standin && parameter.path == "controller.kind");
    if (parameter.need == Need::required && row.state == Reading::State::absent && due)
      problems.add(row.place, fmt::format("{} is missing; allowed {}. What it is: {}.",
                                          parameter.path, allowed(parameter), parameter.text));
  }
}

}  // namespace stillrotor
