// Settings of a controller on lines that are bits of mapped 32-bit registers.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>

#include "io/connector.hpp"
#include "io/wired_settings.hpp"

namespace stillrotor::io {

struct PolledLine {
  int bit = -1;                    // of each register; < 0: not wired
  bool inverted = false;           // the bit is 0 where the wire is high, or on
  Drive drive = Drive::push_pull;  // of a line that the bench drives
  Level safe = Level::released;    // of a line that the bench drives, at the wire

  bool wired() const noexcept { return bit >= 0; }
  bool operator==(const PolledLine&) const = default;
};

/// Offsets in bytes from `base`, multiples of 4; < 0: there is none.
struct PolledRegisters {
  std::filesystem::path file;  // /dev/gpiomem, /dev/uio0, ...
  std::int64_t base = 0;       // of the window in the file
  int level = -1;              // as the pins stand
  int set = -1, clear = -1;    // ones raise, ones lower; or
  int output = -1;             // levels as driven, read and written back
  int enable = -1;             // ones drive, zeros let go; read and written back

  bool operator==(const PolledRegisters&) const = default;
};

struct PolledConfig {
  PolledRegisters registers;
  std::array<PolledLine, line_count> lines;  // by LineId
  PolledLine stop_circuit, bus_dead;         // inputs; not inverted: high is on
  PolledLine watchdog;                       // output; changes with every kick
  GateWires gates = GateWires::six;
  double dead_time_s = 0.0;       // that the driver of fewer than six wires inserts
  double gap_tolerance_s = 1e-6;  // longest time between two looks in which no edge can hide
  CaptureThread capture;

  bool operator==(const PolledConfig&) const = default;
};

}  // namespace stillrotor::io
