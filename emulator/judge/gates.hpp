// What the six gates of a record did in a window, in one pass over their edges.
#pragma once

#include <cstdint>
#include <vector>

#include "emulator/judge/stretch.hpp"

namespace stillrotor {

inline constexpr std::uint16_t leg_count = 3, gate_count = 2 * leg_count;

struct GateStatistics {
  /// From one switch of a leg off to its partner on, of all three legs, the shortest first;
  /// negative: both were on. None: no leg changed.
  std::vector<std::int64_t> dead_times_ps;
  std::int64_t overlaps = 0;           // both switches of a leg on for longer than no time
  std::int64_t overlap_ps = 0;         // for how long, together
  std::int64_t shortest_pulse_ps = 0;  // of any gate, on; pulses that lie wholly in the window
  std::size_t pulses = 0;              // how many such there were
  // Of the gate that rises most often: how often, and the times between its rising edges.
  std::size_t rises = 0;
  std::int64_t median_ps = 0, quartiles_apart_ps = 0;  // of two rises or more
  // The same for times between its pulses' rises, falls or middles, whichever scatter least: edges
  // that move with the duty are no jitter.
  std::int64_t steadiest_quartiles_apart_ps = 0;
};
GateStatistics gate_statistics(const RecordReader&, const Stretch&);

}  // namespace stillrotor
