// Faults between the gate driver and the six switches.
//   open    the gate reaches nothing: the switch never conducts, the diode beside it still does.
//   short   the switch conducts whatever its gate does, with the on-state of the bridge's switches
//           (a blown die's own resistance, mostly lower, is left out).
//   pulse   both switches of a leg conduct for a time, whatever their gates do.
// With the other switch of the leg on, a shorted one shorts the bus: bridge.hpp, "both on".
// Source: common practice (how power switches fail). RT: plain data, O(1).
#pragma once

#include <algorithm>
#include <cstdint>
#include <limits>

namespace stillrotor::plant {

/// In DriveState.
struct SwitchFaults {
  static constexpr std::int64_t never_ps = std::numeric_limits<std::int64_t>::max();
  std::uint8_t open = 0, shorted = 0;                              // bit k: Switch k; both: open
  std::int64_t pulse_ends_ps[3] = {never_ps, never_ps, never_ps};  // of each leg; never: none

  /// What conducts where these are asked to.
  constexpr std::uint8_t acting(unsigned asked) const noexcept {
    unsigned on = (asked | shorted) & ~static_cast<unsigned>(open);
    for (unsigned k = 0; k < 3; ++k)
      if (pulse_ends_ps[k] != never_ps) on |= 3U << (2 * k);
    return static_cast<std::uint8_t>(on);
  }
  constexpr std::int64_t next_end_ps() const noexcept {
    return std::min({pulse_ends_ps[0], pulse_ends_ps[1], pulse_ends_ps[2]});
  }
  /// True: one was due.
  constexpr bool end_pulses(std::int64_t now_ps) noexcept {
    bool ended = false;
    for (std::int64_t& end_ps : pulse_ends_ps) {
      if (end_ps > now_ps) continue;
      end_ps = never_ps;
      ended = true;
    }
    return ended;
  }
};

}  // namespace stillrotor::plant
