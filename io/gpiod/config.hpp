// Settings of a controller on lines of the GPIO character device.
#pragma once

#include <array>
#include <string>

#include "io/connector.hpp"
#include "io/wired_settings.hpp"

namespace stillrotor::io {

struct GpiodLine {
  std::string chip;  // "gpiochip0", "/dev/gpiochip0" or its label; empty: any that knows `name`
  int offset = -1;   // of the chip; < 0: by name
  std::string name;  // as the board's description calls it
  bool inverted = false;  // the line is low where the wire is high, or on
  Bias bias = Bias::as_is;
  Drive drive = Drive::push_pull;  // of a line that the bench drives
  Level safe = Level::released;    // of a line that the bench drives, at the wire

  bool wired() const noexcept { return offset >= 0 || !name.empty(); }
  bool operator==(const GpiodLine&) const = default;
};

struct GpiodConfig {
  std::array<GpiodLine, line_count> lines;  // by LineId
  GpiodLine stop_circuit, bus_dead;         // inputs; not inverted: high is on
  GpiodLine watchdog;                       // output; changes with every kick
  GateWires gates = GateWires::six;
  double dead_time_s = 0.0;  // that the driver of fewer than six wires inserts
  CaptureThread capture;

  bool operator==(const GpiodConfig&) const = default;
};

}  // namespace stillrotor::io
