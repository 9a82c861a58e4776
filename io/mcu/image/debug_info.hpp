// What a firmware's debug information (DWARF 2 to 5) says of the variables that lie at fixed
// addresses: those of files, functions, namespaces and classes.
#pragma once

#include <string>
#include <vector>

#include "io/mcu/image/variables.hpp"

namespace stillrotor::io::mcu {

struct DebugInfo {
  std::vector<Variable> variables;  // without symbol and bytes
  std::vector<ValueType> types;
  std::string problem;  // "has no debug information", with the remedy; empty: it was read
};

/// Never throws for what is in the file.
DebugInfo read_debug_info(std::string elf_file, const HoldsVariables& in_ram);

}  // namespace stillrotor::io::mcu
