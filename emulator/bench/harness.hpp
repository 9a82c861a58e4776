// How connector signals meet the controller's pins: polarity, pulls, and the faults of the wires.
// Stateless description; emulator/virtual_time/wiring applies it.
#pragma once

#include <array>
#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor {

enum class Pull : std::uint8_t { none, up, down };

struct LineHarness {
  bool connected = false;
  bool active_high = true;  // gates: the level that turns the switch on; inputs: the level for "on"
  Pull pull = Pull::none;   // what decides when nobody drives the wire
};

struct Harness {
  std::array<LineHarness, io::line_count> lines;   // by LineId
  std::array<bool, io::channel_count> channels{};  // by ChannelId: connected
};

}  // namespace stillrotor
