// A controller on real wires whose lines one backend has, and whose volts converters: both as one
// WiredController, with the promises of io/wired.hpp.
// RT  write(): one system call a converter more than the lines'; gate_volts(): no system call.
//     Proof: tests/io/analog/with_analog_test.cpp
#pragma once

#include <memory>

#include "io/analog/analog.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

/// Inputs named "gates.UH" ... "gates.WL" are the gates' filtered voltages. Throws ConfigError:
/// settings that cannot be.
std::unique_ptr<WiredController> with_analog(std::unique_ptr<WiredController> lines, AnalogConfig,
                                             SystemCalls& = real_system_calls());

}  // namespace stillrotor::io
