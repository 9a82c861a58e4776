#include "emulator/bench/watch_list.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

#include "emulator/bench/pairs.hpp"

namespace stillrotor {
namespace {

using io::mcu::VariableType;

constexpr std::pair<std::string_view, VariableType> types[] = {
    {"int8", VariableType::int8},     {"uint8", VariableType::uint8},
    {"int16", VariableType::int16},   {"uint16", VariableType::uint16},
    {"int32", VariableType::int32},   {"uint32", VariableType::uint32},
    {"int64", VariableType::int64},   {"uint64", VariableType::uint64},
    {"float", VariableType::float32}, {"double", VariableType::float64},
};

/// Letters, digits and _ . -, so that it can be a column and a data set.
bool is_name(std::string_view name) {
  const auto fits = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' ||
           c == '.' || c == '-';
  };
  return !name.empty() && name.size() <= 64 && name.front() != '.' &&
         std::all_of(name.begin(), name.end(), fits);
}

std::string problem_of(WatchEntry& entry, std::string_view written) {
  const std::size_t blank = written.find_last_of(" \t");
  const std::string_view word = written.substr(blank == std::string_view::npos ? 0 : blank + 1);
  const auto* const type = std::find_if(std::begin(types), std::end(types),
                                        [&](const auto& t) { return t.first == word; });
  if (!is_name(entry.name)) return "a name is due of letters, digits and _ . -, 64 at most";
  std::string_view place = written;
  if (type != std::end(types)) {
    entry.type = type->second;
    place = trimmed(written.substr(0, written.size() - word.size()));
  }
  const std::size_t plus = place.find('+');
  if (plus != std::string_view::npos) {
    const std::string_view offset = trimmed(place.substr(plus + 1));
    const auto [rest, error] =
        std::from_chars(offset.data(), offset.data() + offset.size(), entry.offset.emplace());
    if (offset.empty() || error != std::errc{} || rest != offset.data() + offset.size())
      return "the offset is no number of bytes";
    if (!entry.type) return "bytes at an offset need a type";
    place = trimmed(place.substr(0, plus));
  }
  entry.path = place;
  if (place.find_first_of(" \t") != std::string_view::npos) return "its type is not known";
  return place.empty() ? "it names no variable" : "";
}

}  // namespace

std::string_view word_of(VariableType type) noexcept {
  return std::find_if(std::begin(types), std::end(types),
                      [type](const auto& t) { return t.second == type; })
      ->first;
}

std::vector<WatchEntry> read_watch_list(std::string_view text, std::string& problem) {
  std::vector<WatchEntry> entries;
  for (const auto& [name, written] : words_in_pairs(text)) {
    WatchEntry entry{std::string(name), {}, {}, {}, std::string(written)};
    std::string found = problem_of(entry, written);
    const auto same = [&](const WatchEntry& other) { return other.name == entry.name; };
    if (std::any_of(entries.begin(), entries.end(), same)) found = "that name is given twice";
    if (entries.size() == most_watched) found = fmt::format("that is more than {}", most_watched);
    if (!found.empty()) {
      problem = fmt::format(
          "controller.watch.{} is \"{}\": {}. Write {{name: variable}}, with .member and [index], "
          "and behind it, if the firmware's debug information does not know it, the type; allowed: "
          "int8, uint8, int16, uint16, int32, uint32, int64, uint64, float, double.",
          name, written, found);
      return entries;
    }
    entries.push_back(std::move(entry));
  }
  return entries;
}

}  // namespace stillrotor
