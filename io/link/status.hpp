// How a link fares.
#pragma once

#include <cstdint>

#include "io/link/frames/payload.h"

namespace stillrotor::io {

/// As far as it has come. Counts only grow.
struct LinkStatus {
  bool linked = false;   // the chip answers
  bool running = false;  // with our parameters, and its clock is known
  bool live = false;     // its outputs are
  bool unfit = false;    // it cannot run these parameters: other tick, version, or refused
  std::uint64_t frames = 0, edges = 0, reports = 0;
  std::uint64_t missed_frames = 0;   // by their numbers
  std::uint64_t dropped_frames = 0;  // repeated, overtaken, of no session we know
  std::uint64_t spoilt_frames = 0;   // CRC, stuffing, length, unknown kind or payload
  std::uint64_t lost_edges = 0;      // known by their numbers
  std::uint64_t lost_reports = 0;    // between the chip and the cycle
  std::uint64_t silences = 0, resets = 0, refusals = 0, falls = 0;  // falls: live outputs went safe
  std::uint32_t last_refusal = 0;                                   // lf_reason
  lf_hello chip{};  // its latest hello; role 0: none has come
  double drift = 0.0, least_round_trip_ns = 0.0;
};

}  // namespace stillrotor::io
