// What there is to watch in a firmware, as rows of a table.
#pragma once

#include <string>
#include <vector>

#include "io/mcu/image/variables.hpp"

namespace stillrotor {

/// Each number by its path, members and elements of arrays with it (axis[0..1].pid.integral), its
/// type and address; behind them how many were left out. The first row is the heading.
std::vector<std::vector<std::string>> variable_rows(const io::mcu::Variables&);

}  // namespace stillrotor
