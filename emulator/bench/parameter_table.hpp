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
std::vector<Parameter> machine_parameters();
std::vector<Parameter> magnet_parameters();  // machine: tables, temperature, losses
std::vector<Parameter> bridge_parameters();
std::vector<Parameter> supply_parameters();  // supply, dc_link
std::vector<Parameter> load_parameters();
std::vector<Parameter> thermal_parameters();
std::vector<Parameter> position_sensor_parameters();
std::vector<Parameter> angle_sensor_parameters();  // sin_cos, absolute_angle
std::vector<Parameter> electrical_sensor_parameters();
std::vector<Parameter> temperature_sensor_parameters();
std::vector<Parameter> controller_parameters();  // controls, controller
std::vector<Parameter> link_parameters();        // controller.link; its channels in harness
std::vector<Parameter> harness_parameters();     // harness
std::vector<Parameter> converter_parameters();   // converters; their ends in harness
std::vector<Parameter> cycle_parameters();       // cycle

}  // namespace stillrotor
