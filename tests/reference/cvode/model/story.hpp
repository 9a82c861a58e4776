// A drawn experiment in a line of words, for who has to look into it.
#pragma once

#include <string>

#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

std::string told(const Experiment&);

}  // namespace stillrotor::reference
