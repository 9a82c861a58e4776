// What an action may wait for, in the place of a time: a quantity of the plant above or below a
// value, for a while if wanted.
//   when: speed > 300 rpm for 50 ms
//   when: time since hall_line_open > 20 ms
// Asked at whole multiples of condition_grid_ps, so that every route of a run answers alike; the
// action happens at the grid's point, once.
// Units SI.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "emulator/bench/units.hpp"

namespace stillrotor {

inline constexpr std::int64_t condition_grid_ps = 50'000'000;  // 50 us

enum class Watched : std::uint8_t {
  speed,
  angle_e,
  angle_m,
  vehicle_speed,
  distance,
  phase_current,
  bus_voltage,
  bus_current,
  torque,
  winding,
  magnet,
  heatsink,
  junction,
  state_of_charge,
  time_since
};

struct WatchedWord {
  std::string_view name;
  Watched what;
  Family family;
  double least, most;  // SI: where a bound means something
  std::string_view allowed;
  std::string_view text;
};
std::span<const WatchedWord> watched_words() noexcept;

struct Condition {
  Watched what = Watched::speed;
  bool above = true;        // else below
  double bound = 0.0;       // SI
  std::int64_t for_ps = 0;  // it has to hold so long
  std::int64_t by_ps = 0;   // not met by then: never; the record says so
  std::string after;        // event: watched from then on; empty: from the start
  std::string text;         // as written

  bool holds(double value) const noexcept { return above ? value > bound : value < bound; }
};

}  // namespace stillrotor
