// How the real-time cycle fared, for people.
#pragma once

#include <string>

#include "emulator/cycle/wall_run.hpp"

namespace stillrotor {

/// While it runs: "woke 4 us late, 99 % 12, 99.9 % 40, 99.99 % 55, most 61".
std::string lateness_line(const LatencyHistogram& wake);
/// A sentence, for a run that was stopped.
std::string cycle_line(const CycleReport&);
/// Lateness and times of all turns, with what was missed.
std::string cycle_table(const CycleReport&);

}  // namespace stillrotor
