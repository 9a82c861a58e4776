// A co-processor that is not there: the core and its end of the link on a counter that the test
// moves. The hooks reach one board at a time, the newest.
#pragma once

#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "io/link/frames/chip_end.h"
#include "io/link/session.hpp"

namespace stillrotor::io {

struct Board {
  static constexpr std::uint32_t tick_Hz = 25'000'000, step_ticks = 250;  // 40 ns, 10 us

  explicit Board(std::uint16_t session = 77, std::uint32_t counter = 0xffff0000U);

  /// To the end of a step of the core: what is due, and what the link has to do.
  void step_until(std::uint32_t tick);
  /// Bytes come in at that tick, within a step.
  void hear(std::span<const std::uint8_t>, std::uint32_t tick);
  /// The chip's own reset: everything is forgotten but the counter begins at 0.
  void reset(std::uint16_t session);

  std::uint32_t counter;
  std::deque<cp_gate_edge> edges;  // captured, not taken yet
  std::uint32_t lost_edges = 0;
  std::deque<std::uint8_t> in;
  std::vector<std::uint8_t> out;
  std::size_t room = SIZE_MAX;  // in out
  bool driven = true;
  int drives = 0;
  lf_chip chip;
};

/// Settings that the board can run: the middle cart machine; silence 20 ms, a report each
/// millisecond.
LinkSettings board_settings();

}  // namespace stillrotor::io
