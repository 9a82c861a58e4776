// What the six gates of a record did in a window, in one pass over their edges.
#pragma once

#include <cstdint>
#include <optional>

#include "emulator/judge/stretch.hpp"

namespace stillrotor {

inline constexpr std::uint16_t leg_count = 3, gate_count = 2 * leg_count;

struct GateStatistics {
  /// From one switch of a leg off to its partner on; negative: both were on. None: no leg changed.
  std::optional<std::int64_t> smallest_dead_time_ps;
  std::int64_t overlaps = 0;  // both switches of a leg on for longer than no time
  // Of the gate that rises most often: how often, and the times between its rising edges.
  std::size_t rises = 0;
  std::int64_t median_ps = 0, quartiles_apart_ps = 0;  // of two rises or more
};
GateStatistics gate_statistics(const RecordReader&, const Stretch&);

}  // namespace stillrotor
