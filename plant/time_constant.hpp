// What is quick in a drive, and which parameter makes it so.
// Units  seconds: s; value: in `unit`.  Source  derived (step_limits.cpp).  RT: set-up only
// (strings).
#pragma once

#include <string>

namespace stillrotor::plant {

struct TimeConstant {
  std::string parameter;  // its path in a bench
  double value = 0.0;
  std::string unit;
  double seconds = 0.0;
  double power = 1.0;  // of the parameter, with which the time constant goes
};

}  // namespace stillrotor::plant
