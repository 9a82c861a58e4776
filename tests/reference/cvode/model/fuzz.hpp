// Random drives: machine, bridge, supply, shaft, speed and gate edges from one seed.
#pragma once

#include <cstdint>
#include <string>

#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// The same seed gives the same experiment on every machine (no distribution of the standard
/// library is used). `story` names what was drawn.
Experiment fuzzed_experiment(std::uint64_t seed, std::string& story);

/// Runs cases [first, last) and reports every case that disagrees, with its number and seed.
void expect_fuzzed_agreement(int first, int last);

}  // namespace stillrotor::reference
