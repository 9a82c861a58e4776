// Checks what a simulated controller did against the rules of io/connector.hpp.
#pragma once

#include <string>
#include <vector>

#include "tests/io/support/scripted_motor.hpp"

namespace stillrotor::io::test {

/// One sentence for each broken rule; empty: kept. longest_instruction: what the controller may
/// pass a horizon by.
std::vector<std::string> broken_rules(const ScriptedMotor&, const SimulatedController&,
                                      Time longest_instruction);

}  // namespace stillrotor::io::test
