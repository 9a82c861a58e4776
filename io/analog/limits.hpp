// What an analog route can do at best, as numbers for a budget: from the settings alone, before
// anything is opened. Declared, not measured: AnalogPort::counts() has what a run has seen.
// Units s, V, Hz.
#pragma once

#include <optional>

#include "io/analog/config.hpp"
#include "io/route.hpp"

namespace stillrotor::io {

struct AnalogLimits {
  double transfer_s = 0.0;  // all channels of the device once
  double rate_Hz = 0.0;     // of whole rounds: outputs at most, inputs as set
  double delay_s = 0.0;     // outputs: store() to settled; inputs: wire to latest(), at worst
  double spread_s = 0.0;    // between the first channel's change and the last one's
  double step_V = 0.0;      // one code, at the wire
};

AnalogLimits output_limits(const AnalogConfig&, const SpiDacConfig&, const AnalogOutput&);
AnalogLimits input_limits(const AnalogConfig&, const SpiAdcConfig&, const AnalogInput&);
/// step_V stays 0: only the device's own files know it. A rate of 0: not set here, so its delay is
/// not known either (infinite).
AnalogLimits input_limits(const AnalogConfig&, const IioConfig&, const AnalogInput&);

/// The slowest and the coarsest of all outputs; nothing: there are none.
std::optional<VoltsRoute> volts_route(const AnalogConfig&);
/// The slowest of all inputs; nothing: there are none.
std::optional<AveragesRoute> averages_route(const AnalogConfig&);

}  // namespace stillrotor::io
