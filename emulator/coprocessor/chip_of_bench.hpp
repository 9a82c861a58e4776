// The co-processor that a bench expects, as a simulated one: its counter, its converter, the
// polarity of the wires behind it.
#pragma once

#include "emulator/bench/bench.hpp"
#include "io/link/port/simulated_chip.hpp"

namespace stillrotor {

/// Throws io::ConfigError where the bench has no controller behind a co-processor.
io::ChipSettings chip_of(const Bench&);

}  // namespace stillrotor
