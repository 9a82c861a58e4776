// The JSON Schema (draft 2020-12) of scenario files, made from the table of their keys: for
// editors, and for a first check without the program. What depends on the bench it does not know.
#pragma once

#include <string>

namespace stillrotor {

std::string scenario_schema();

}  // namespace stillrotor
