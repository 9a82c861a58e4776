// Recorded signals of two runs, point by point, each stretch from one cause to the next aligned at
// it.
#pragma once

#include <vector>

#include "emulator/compare/comparison.hpp"

namespace stillrotor {

/// Of every signal that differs: the largest difference and when; size: its share of the signal's
/// largest size in both. Throws std::runtime_error where a record cannot be read.
std::vector<Change> different_signals(const RunDigest& before, const RunDigest& after);

}  // namespace stillrotor
