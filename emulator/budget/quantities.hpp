// Frequencies, rates and times in the unit that people read.
#pragma once

#include <string>

namespace stillrotor {

std::string hertz(double f);
std::string seconds(double t);

}  // namespace stillrotor
