#include "emulator/scenario/fields.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/parameter.hpp"

namespace stillrotor {

std::int64_t to_ps(double seconds) noexcept { return std::llround(seconds * 1e12); }

Fields::Fields(const YamlNode& map, std::string what, std::span<const std::string> allowed,
               Problems& problems)
    : map_(map), what_(std::move(what)), problems_(problems) {
  if (map.kind != YamlNode::Kind::map)
    problems_.add(map.place, fmt::format("{} is written as {{key: value, ...}}; known keys: {}.",
                                         what_, fmt::join(allowed, ", ")));
  for (const auto& [key, value] : map.entries)
    if (std::find(allowed.begin(), allowed.end(), key.text) == allowed.end())
      problems_.add(key.place, fmt::format("unknown key {} in {}.{}", key.text, what_,
                                           suggestion(key.text, allowed)));
}

std::string Fields::text(std::string_view key) const {
  const YamlNode* node = map_.find(key);
  if (node == nullptr) return {};
  if (node->kind == YamlNode::Kind::scalar && !node->text.empty() && node->text.size() <= 1000)
    return node->text;
  problems_.add(node->place, fmt::format("{} has no single value of 1 to 1000 characters. Write "
                                         "one, or remove the key.",
                                         key));
  return {};
}

Place Fields::place_of(std::string_view key) const {
  const YamlNode* node = map_.find(key);
  return node != nullptr ? node->place : map_.place;
}

void Fields::wrong(std::string_view key, std::string_view sentence) const {
  problems_.add(place_of(key), sentence);
}

std::optional<double> Fields::quantity(std::string_view key, Family family, double least,
                                       double most, std::string_view allowed) const {
  const std::string written = text(key);
  if (written.empty()) return {};
  const Conversion conversion = to_si(written, family);
  if (!conversion) {
    wrong(key, fmt::format("{}: {}; allowed {}.", key, conversion.problem, allowed));
    return {};
  }
  // A bound written in another unit than SI comes with a rounding of its own.
  const double rounding = 1e-12 * std::max(std::abs(least), std::abs(most));
  if (conversion.si < least - rounding || conversion.si > most + rounding) {
    wrong(key, fmt::format("{} is {}; allowed {}. Change the value.", key, written, allowed));
    return {};
  }
  return std::clamp(conversion.si, least, most);
}

std::optional<std::int64_t> Fields::time_ps(std::string_view key, double least_s, double most_s,
                                            std::string_view allowed) const {
  const auto seconds = quantity(key, Family::time, least_s, most_s, allowed);
  if (!seconds) return {};
  return to_ps(*seconds);
}

std::optional<bool> Fields::on_off(std::string_view key) const {
  const std::string written = text(key);
  if (written.empty()) return {};
  bool value = false;
  if (read_switch(written, value)) return value;
  wrong(key, fmt::format("{} is {}; allowed on or off.", key, written));
  return {};
}

std::optional<std::size_t> Fields::choice(std::string_view key,
                                          std::span<const std::string> words) const {
  const std::string written = text(key);
  if (written.empty()) return {};
  const auto found = std::find(words.begin(), words.end(), written);
  if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  const std::string near = nearest(written, words);
  wrong(key, fmt::format("{} is {}; allowed {}.{}", key, written, fmt::join(words, ", "),
                         near.empty() ? "" : fmt::format(" Did you mean {}?", near)));
  return {};
}

}  // namespace stillrotor
