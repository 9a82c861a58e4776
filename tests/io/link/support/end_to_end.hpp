// Gate edges from a far end over a real wire into the cycle's hands: every one of them arrives.
#pragma once

#include <array>

#include "tests/io/link/support/far_end.hpp"

namespace stillrotor::io {

/// What the cycle has got of `edges` that were sent; gives up when nothing comes for 30 s.
struct Arrived {
  bool ran = false;
  std::uint64_t edges = 0, gaps = 0;
  std::array<std::uint64_t, gate_count> of_gate{};
  LinkStatus status;
};
Arrived send_over(FarEnd::Kind, std::uint64_t edges);

}  // namespace stillrotor::io
