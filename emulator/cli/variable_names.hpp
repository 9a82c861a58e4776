// Variables of a firmware by the names that people give them.
//
//   name                 a global one, a file's, or a function's where no other has that name
//   foc.c:name           that of a source file; also drivers/foc.c:name
//   update:name          that of a function; foc.c:update:name
//   name.0               by its name in the symbol table
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/image/variables.hpp"

namespace stillrotor {

/// Those that a path means, without what it says of members: several when it is ambiguous, none
/// when there is none. They lie at different addresses.
struct NamedVariables {
  std::vector<const io::mcu::Variable*> found;
  std::string_view name;  // as the path has it, with its qualifiers
  std::string_view rest;  // ".pid.integral"
};
NamedVariables named(std::string_view path, const io::mcu::Variables&);

/// The shortest name of it that means no other one; its symbol where none does.
std::string shortest_name(const io::mcu::Variable&, const io::mcu::Variables&);

}  // namespace stillrotor
