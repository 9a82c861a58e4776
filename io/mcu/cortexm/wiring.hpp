// Which of the connector's signals, and which of the board's partners, stand at which pin.
//
// Errors ConfigError, by the parameter's path: no such pin, taken already.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "io/mcu/config.hpp"
#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

struct Wires {
  std::array<std::optional<PinId>, line_count> lines;        // by LineId
  std::array<std::array<std::optional<LineId>, 16>, 16> at;  // what hangs on each pin, by port
  std::array<std::array<std::optional<ChannelId>, 16>, 16> channel;
  std::vector<PinId> eeprom, gate_driver;  // by the partner's wires
};

Wires connect(const McuConfig&, const ChipPart&);

}  // namespace stillrotor::io::cortexm
