// The built-in reference controllers. They share no code with the plant, on purpose: a sign error
// in one cannot cancel out in the other.
#pragma once

#include <memory>

#include "io/connector.hpp"
#include "io/standin/config.hpp"

namespace stillrotor::io {

/// All throw ConfigError naming the setting ("controller.pwm_frequency"), its value, the allowed
/// range and the remedy. What they do, step by step: README.md beside this file.
std::unique_ptr<SimulatedController> make_six_step(const SixStepConfig&);
std::unique_ptr<SimulatedController> make_field_oriented(const FieldOrientedConfig&);
std::unique_ptr<SimulatedController> make_volts_per_hertz(const VoltsPerHertzConfig&);

}  // namespace stillrotor::io
