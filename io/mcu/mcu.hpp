// A firmware binary on a simulated microcontroller: ATmega328P, executed by simavr.
//
// Time    integer cycles of controller.clock; every edge and sample at its exact cycle.
// Errors  ConfigError for what cannot be set up; a firmware that does what no processor would, or
//         what is not modelled, ends as crashed with a sentence. See README.md for the list.
#pragma once

#include <memory>

#include "io/connector.hpp"
#include "io/mcu/config.hpp"

namespace stillrotor::io {

/// Throws ConfigError with the path of the setting: controller.part, .clock, .supply, .firmware,
/// harness.<line or channel>.
std::unique_ptr<SimulatedController> make_mcu(const McuConfig&);

}  // namespace stillrotor::io
