// The controller on real wires that a bench describes, complete: a co-processor knows what it is to
// compute.
#pragma once

#include <memory>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/wired.hpp"

namespace stillrotor {

/// With what a co-processor computes worked out of the bench; other controllers as they are.
/// theta_m_rad: the rotor's angle at the start. Throws InputError: the co-processor's plant lacks
/// what the bench has.
io::ControllerConfig completed_controller(const Bench&, double theta_m_rad = 0.0);

/// nullptr: it is a simulated one. Throws InputError, io::ConfigError.
std::unique_ptr<io::WiredController> make_wired_controller(const Bench&, double theta_m_rad = 0.0);

/// Throws InputError where the scenario asks for what would have to happen inside the co-processor.
void require_possible(const Bench&, const Scenario&);

}  // namespace stillrotor
