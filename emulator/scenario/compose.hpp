// One scenario out of its file, the parts that it includes, and its parameters.
#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "emulator/bench/problems.hpp"
#include "emulator/bench/yaml_tree.hpp"

namespace stillrotor {

struct ComposedScenario {
  YamlNode root;  // without `include` and `parameters`, every ${name} replaced
  std::vector<std::string> parameters;  // lines of the resolved file, with the values that hold
  std::vector<std::string> overrides;   // "top=3 V"
};

/// `include`: the part's actions and limits join the scenario's, `at` later where that is said;
/// parts include parts, 8 deep, 100 in all. `${name}` in any value stands for a parameter;
/// `settings` are overrides "name=value", checked against the parameter's range. Throws InputError.
ComposedScenario compose_scenario(const std::filesystem::path& file,
                                  std::span<const std::string> settings);

}  // namespace stillrotor
