// The explicit table of backends: what can stand on the controller's side of the connector.
// A new backend is a folder, a row here and in backends.cpp, and a config alternative.
#pragma once

#include <memory>
#include <span>
#include <string_view>
#include <variant>

#include "io/analog/config.hpp"
#include "io/capture/config.hpp"
#include "io/connector.hpp"
#include "io/gpiod/config.hpp"
#include "io/hostfw/config.hpp"
#include "io/link/config.hpp"
#include "io/mcu/config.hpp"
#include "io/polled/config.hpp"
#include "io/standin/config.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

using ControllerConfig =
    std::variant<SixStepConfig, FieldOrientedConfig, VoltsPerHertzConfig, McuConfig, CaptureConfig,
                 GpiodConfig, PolledConfig, HostFirmwareConfig, LinkConfig>;

struct Backend {
  std::string_view name;     // as in `controller.backend`
  std::string_view clock;    // "virtual" or "wall"
  std::string_view summary;  // one line for people
  bool available;            // false: this build lacks it
};
std::span<const Backend> backends() noexcept;

/// Builds the controller. Throws ConfigError, also where it stands on real wires.
std::unique_ptr<SimulatedController> make_controller(const ControllerConfig&);
/// The same for one on real wires, with its converters; nullptr: the configuration asks for a
/// simulated one.
std::unique_ptr<WiredController> make_wired_controller(const ControllerConfig&,
                                                       const AnalogConfig& = {});

}  // namespace stillrotor::io
