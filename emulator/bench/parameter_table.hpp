// The one table of everything that a bench file can say. The loader, overrides, `list`, `check` and
// the resolved file are generated from it; to add a parameter, add a row.
#pragma once

#include <span>
#include <string_view>

#include "emulator/bench/parameter.hpp"

namespace stillrotor {

/// All parameters, in the order of a bench file.
std::span<const Parameter> parameter_table();

/// nullptr: no such path.
const Parameter* find_parameter(std::string_view path);

// The table's sections, put together by parameter_table().
std::vector<Parameter> plant_parameters();       // machine, bridge, supply, dc_link, load, sensors
std::vector<Parameter> controller_parameters();  // controls, controller
std::vector<Parameter> harness_parameters();     // harness

}  // namespace stillrotor
