// Where an axis has its numbers.
#pragma once

#include <vector>

namespace stillrotor {

/// Round values (1, 2 or 5 times a power of ten apart) in low .. high, some `about` of them.
std::vector<double> ticks(double low, double high, int about);

}  // namespace stillrotor
