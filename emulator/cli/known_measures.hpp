// The judge's measures, as reading a scenario wants to know them.
#pragma once

#include <vector>

#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

std::vector<KnownMeasure> known_measures();

}  // namespace stillrotor
