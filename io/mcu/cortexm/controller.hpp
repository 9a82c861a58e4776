// A firmware binary on a simulated Cortex-M4F, at the bench's connector.
//
// Power  the board's regulator makes the chip's supply, reference_V, and follows the board's supply
//        below that. Under 1.8 V the chip is off; RAM is then gone, flash stays.
// Analog the wire's voltage times input_divider is what the pin sees; full scale is the chip's
// supply. Errors ConfigError for what cannot be set up. Firmware that does what no processor would
// ends as
//        crashed, with PC, encoding and symbol.
#pragma once

#include <memory>

#include "io/connector.hpp"
#include "io/mcu/config.hpp"

namespace stillrotor::io {

std::unique_ptr<SimulatedController> make_cortexm(const McuConfig&);

}  // namespace stillrotor::io
