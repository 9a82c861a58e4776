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

}  // namespace stillrotor
