#include "emulator/bench/nearest.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>

namespace stillrotor {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before, last(b.size() + 1), now(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t differs = a[i - 1] == b[j - 1] ? 0 : 1;
      now[j] = std::min({last[j] + 1, now[j - 1] + 1, last[j - 1] + differs});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        now[j] = std::min(now[j], before[j - 2] + 1);
    }
    before = last;
    std::swap(last, now);
  }
  return last[b.size()];
}

std::string nearest(std::string_view word, std::span<const std::string> known) {
  constexpr std::size_t longest = 100;  // no known word is longer; bounds the work
  std::string best;
  std::size_t least = std::min(word.size(), longest) / 3 + 1;
  if (word.size() > longest) return best;
  for (const std::string& candidate : known)
    if (const std::size_t distance = edit_distance(word, candidate); distance <= least) {
      if (distance == least && !best.empty()) continue;
      least = distance;
      best = candidate;
    }
  return best;
}

std::string suggestion(std::string_view word, std::span<const std::string> known) {
  if (const std::string near = nearest(word, known); !near.empty())
    return fmt::format(" Did you mean {}?", near);
  return fmt::format("{}{}.", list_of_known, fmt::join(known, ", "));
}

}  // namespace stillrotor
