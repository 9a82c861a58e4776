// Firmware compiled for the host, as a controller in virtual time: its interrupts are called when
// they are due, its PWM is made here, as a motor timer makes it.
//
// Time   an interrupt takes none (sr_pwm.compute_s says when its duties act). What it reads is the
//        value of its instant.
// Ends   firmware that crashes or hangs is told so in diagnosis(); power off and on starts afresh.
// Errors make_host_firmware(), and power() with supply, throw ConfigError.
// RT     none: it waits for another process.
#pragma once

#include <memory>

#include "io/connector.hpp"
#include "io/hostfw/config.hpp"

namespace stillrotor::io {

/// Loads the firmware once, so that one that cannot be is found now. Throws ConfigError.
std::unique_ptr<SimulatedController> make_host_firmware(const HostFirmwareConfig&);

}  // namespace stillrotor::io
