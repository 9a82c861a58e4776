// Settings of a controller behind a timing co-processor, as a bench file states them. What the chip
// computes (LinkSettings) follows from the whole bench and is filled in by who reads that.
#pragma once

#include <array>
#include <optional>
#include <string>

#include "io/connector.hpp"
#include "io/link/settings.hpp"
#include "io/wired_settings.hpp"

namespace stillrotor::io {

struct LinkConfig {
  static constexpr std::array<int, channel_count> not_wired() {
    std::array<int, channel_count> all{};
    all.fill(-1);
    return all;
  }
  std::string address;  // link/address.hpp

  // The chip. Its counter has to be this; the rest is how it is to work.
  double tick_Hz = 25e6;
  double step_s = 10e-6;     // a whole number of ticks, 16 to 256
  double settle_s = 0.2e-6;  // from a step's end until its last edge has come through the capture
  double silence_s = 20e-3;  // outputs safe after so long without a command
  double behind_s = 200e-6;  // lateness of its steps at which outputs go safe
  double report_s = 1e-3;    // from one report to the next
  double current_range_A = 0.0, voltage_range_V = 0.0;  // that its numbers must hold; 0: follows

  // Its converter, the same for all channels; volts at the connector.
  int converter_bits = 12;
  double converter_V = 5.0;  // of its highest code and one
  std::array<int, channel_count> channels =
      not_wired();                             // number at the chip, by ChannelId; -1: not wired
  std::array<double, channel_count> safe_V{};  // of channels that Linux itself tells

  // Stamps as declared, until a chip says how it is.
  double stamp_resolution_s = 40e-9, stamp_jitter_s = 12e-9;

  // This end.
  double lead_s = 3e-3;           // of what the chip is told ahead, before the clock
  double broken_after_s = 20e-3;  // without a frame
  double warm_up_s = 2.0;         // of round trips before a run, for the clock
  double patience_s = 5.0;        // until a chip has answered
  CaptureThread thread;           // that keeps the link

  std::optional<LinkSettings> settings;  // absent: the controller cannot be made
};

}  // namespace stillrotor::io
