// Where a parameter of a loaded bench came from, for what is found to be wrong with it later.
#pragma once

#include <string>
#include <string_view>

#include "emulator/bench/bench.hpp"

namespace stillrotor {

/// "file:line", "--set"; where nobody wrote it the bench's file, and what it follows from.
std::string origin_of(const Bench&, std::string_view parameter_path);

}  // namespace stillrotor
