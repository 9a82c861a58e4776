// A port to nothing: the hooks on a clock that the test moves, with all that went out kept.
#pragma once

#include <cstdint>
#include <deque>
#include <vector>

#include "io/link/coprocessor/coprocessor.h"

namespace stillrotor::io::coprocessor {

struct HostPort {
  std::uint32_t now = 0;
  std::deque<cp_gate_edge> edges;
  std::uint32_t lost_edges = 0;
  std::vector<cp_line_edge> lines;  // as handed over, whether driven or not
  std::vector<std::uint32_t> handed_at;
  std::uint32_t codes[CP_CHANNELS] = {};
  bool driven = true;
  std::uint32_t driven_levels = 0;  // when they were driven last
  int releases = 0;
};

/// The one that the hooks reach; made anew for each test.
HostPort& port();
HostPort& new_port();

}  // namespace stillrotor::io::coprocessor
