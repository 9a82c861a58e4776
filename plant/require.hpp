// Checks of parameters at set-up: name, value and what is allowed, thrown as std::invalid_argument.
#pragma once

#include <cmath>
#include <stdexcept>
#include <string>

namespace stillrotor::plant {

inline void require(bool good, const char* name, double value, const char* allowed) {
  if (!good || !std::isfinite(value))
    throw std::invalid_argument(std::string(name) + " is " + std::to_string(value) + "; allowed " +
                                allowed + ".");
}
inline void above_zero(const char* name, double x) { require(x > 0.0, name, x, "above 0"); }
inline void not_negative(const char* name, double x) { require(x >= 0.0, name, x, "0 or more"); }

}  // namespace stillrotor::plant
