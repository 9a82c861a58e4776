// Writes a bench back as a file that says everything and loads to the same bench.
#pragma once

#include <string>
#include <string_view>

#include "emulator/bench/readings.hpp"

namespace stillrotor {

std::string resolved_bench_yaml(Readings&, Draft&);

/// Plain where YAML reads it back unchanged, else in double quotes.
std::string yaml_scalar(std::string_view text);

}  // namespace stillrotor
