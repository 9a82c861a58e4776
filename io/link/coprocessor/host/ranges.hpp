// Numbers that must fit, and what is said when they do not.
#pragma once

#include <cstdint>

#include "io/link/coprocessor/fast_plant.h"

namespace stillrotor::io::coprocessor {

/// Throws std::invalid_argument unless low <= value <= high.
double within(const char* what, double value, double low, double high, const char* unit,
              const char* remedy);

/// value as factor / 2^shift with the largest |factor| <= most; nearest. |value| <= most; below
/// 2^-31 it is 0. `what` for the error.
cp_gain gain(const char* what, double value, std::int32_t most, const char* remedy);

}  // namespace stillrotor::io::coprocessor
