// Curves as people write them: pairs "x: y" in one text, {0 %: 42 V, 50 %: 47.5 V}.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "emulator/bench/units.hpp"

namespace stillrotor {

/// In the order written, in SI. A pair that cannot be read ends the list and becomes `problem`.
std::vector<std::pair<double, double>> read_pairs(std::string_view text, Family x, Family y,
                                                  std::string& problem);

std::string_view trimmed(std::string_view) noexcept;
/// The same before anything is converted, without the blanks around; views into text. A pair
/// without a colon has an empty left side.
std::vector<std::pair<std::string_view, std::string_view>> words_in_pairs(std::string_view text);
/// text with the pair of this left side set to `value`, in its place or at the end.
std::string with_pair(std::string_view text, std::string_view left, std::string_view value);

}  // namespace stillrotor
