// For how long the replay of a recording can be believed on a bench, in sentences.
#pragma once

#include <string>

#include "emulator/bench/bench.hpp"
#include "io/connector.hpp"

namespace stillrotor {

/// Empty: the controller is no replay. Throws io::ConfigError.
std::string replay_trust(const Bench&, const io::SimulatedController&);

}  // namespace stillrotor
