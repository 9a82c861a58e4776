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

}  // namespace stillrotor
