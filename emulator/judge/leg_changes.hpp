// The two gates of one leg together: every change in order of time, a block at a time.
#pragma once

#include <limits>

#include "emulator/record/edge_stream.hpp"

namespace stillrotor {

struct LegState {
  bool high = false, low = false;
  bool off() const noexcept { return !high && !low; }
};

inline LegState leg_at_start(const RecordReader& record, int leg) {
  return {record.initially_high(static_cast<std::uint16_t>(2 * leg)),
          record.initially_high(static_cast<std::uint16_t>(2 * leg + 1))};
}

/// Calls seen(at_ps, state from then on) for each edge up to and including `until_ps`; of two edges
/// at one instant off comes before on.
template <class Seen>
void leg_changes(const RecordReader& record, int leg, std::int64_t until_ps, Seen&& seen) {
  LegState state = leg_at_start(record, leg);
  EdgeStream high(record, static_cast<std::uint16_t>(2 * leg)),
      low(record, static_cast<std::uint16_t>(2 * leg + 1));
  constexpr auto never = std::numeric_limits<std::int64_t>::max();
  for (;;) {
    const std::int64_t high_ps = high.done() ? never : high.at_ps();
    const std::int64_t low_ps = low.done() ? never : low.at_ps();
    if (high_ps == never && low_ps == never) break;
    const bool take_high = high_ps != low_ps ? high_ps < low_ps : !high.level();
    EdgeStream& next = take_high ? high : low;
    if (next.at_ps() > until_ps) break;
    (take_high ? state.high : state.low) = next.level();
    seen(next.at_ps(), state);
    next.step();
  }
}

}  // namespace stillrotor
