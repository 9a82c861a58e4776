// The six gates of a record as the measures need them: leg by leg, in order of time.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "emulator/record/record_reader.hpp"

namespace stillrotor {

inline constexpr std::uint16_t leg_count = 3;

/// Line numbers of a leg's gates.
constexpr std::uint16_t high_gate(int leg) noexcept { return static_cast<std::uint16_t>(2 * leg); }
constexpr std::uint16_t low_gate(int leg) noexcept {
  return static_cast<std::uint16_t>(2 * leg + 1);
}

struct LegEdge {
  std::int64_t at_ps = 0;
  int side = 0;  // 0 high switch, 1 low switch
  bool on = false;
};
/// Both gates' edges; at one instant off comes before on.
std::vector<LegEdge> leg_edges(const RecordReader&, int leg);

/// Levels at time 0 of {high, low}.
std::array<bool, 2> initially_on(const RecordReader&, int leg);

}  // namespace stillrotor
