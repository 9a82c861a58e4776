#include "emulator/bench/pairs.hpp"

#include <fmt/format.h>

namespace stillrotor {

std::vector<std::pair<double, double>> read_pairs(std::string_view text, Family x, Family y,
                                                  std::string& problem) {
  std::vector<std::pair<double, double>> pairs;
  if (text.starts_with('{') && text.ends_with('}')) text = text.substr(1, text.size() - 2);
  while (!text.empty()) {
    const std::string_view pair = text.substr(0, text.find(','));
    text.remove_prefix(std::min(pair.size() + 1, text.size()));
    const std::size_t colon = pair.find(':');
    if (colon == std::string_view::npos) {
      problem = fmt::format("\"{}\" is no pair \"x: y\"", pair);
      return pairs;
    }
    const Conversion left = to_si(pair.substr(0, colon), x);
    const Conversion right = to_si(pair.substr(colon + 1), y);
    if (!left || !right) {
      problem = left ? right.problem : left.problem;
      return pairs;
    }
    pairs.emplace_back(left.si, right.si);
  }
  return pairs;
}

std::string_view trimmed(std::string_view text) noexcept {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

std::vector<std::pair<std::string_view, std::string_view>> words_in_pairs(std::string_view text) {
  std::vector<std::pair<std::string_view, std::string_view>> pairs;
  text = trimmed(text);
  if (text.starts_with('{') && text.ends_with('}')) text = text.substr(1, text.size() - 2);
  while (!trimmed(text).empty()) {
    const std::string_view pair = text.substr(0, text.find(','));
    text.remove_prefix(std::min(pair.size() + 1, text.size()));
    const std::size_t colon = pair.find(':');
    const bool whole = colon != std::string_view::npos;
    pairs.emplace_back(whole ? trimmed(pair.substr(0, colon)) : std::string_view(),
                       trimmed(whole ? pair.substr(colon + 1) : pair));
  }
  return pairs;
}

std::string with_pair(std::string_view text, std::string_view left, std::string_view value) {
  std::string all;
  bool placed = false;
  const auto add = [&all](std::string_view name, std::string_view content) {
    all += fmt::format("{}{}: {}", all.empty() ? "" : ", ", name, content);
  };
  for (const auto& [name, content] : words_in_pairs(text)) {
    placed = placed || name == left;
    add(name, name == left ? value : content);
  }
  if (!placed) add(left, value);
  return all;
}

}  // namespace stillrotor
