// What a route of signals can do: declared by its backend, until it has been measured by loop-back
// on the very computer. Budgets hold a bench's demand against it (emulator/budget).
#pragma once

#include <string>

namespace stillrotor::io {

/// Lines between controller and bench.
struct LineRoute {
  std::string name;             // "GPIO character device, libgpiod 2"
  double edges_in_per_s = 0.0;  // of all lines together, without loss
  double stamp_jitter_s = 0.0;  // rms, of a stamp against its edge, resolution included
  double write_s = 0.0;         // one write of all lines, from the call to the pins
  bool finds_loss = false;      // every lost edge shows; else only what breaks the alternation
  std::string grounds;          // where the numbers come from
};

/// Voltages from bench to controller.
struct VoltsRoute {
  std::string name;         // "spidev DAC, 12 bit"
  double delay_s = 0.0;     // from a stored value to the pins of all channels
  double resolution_V = 0;  // one step
  std::string grounds;
};

/// Gates that come in as averages, voltages behind RC filters.
struct AveragesRoute {
  std::string name;             // "spidev mcp3208"
  double delay_s = 0.0;         // from a change at a gate to a reading that shows it, at worst
  double fastest_filter_s = 0;  // the filter that leaves the most ripple
  std::string grounds;
};

}  // namespace stillrotor::io
