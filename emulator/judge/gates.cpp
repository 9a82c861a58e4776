#include "emulator/judge/gates.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <vector>

#include "emulator/record/edge_stream.hpp"

namespace stillrotor {
namespace {

constexpr auto never = std::numeric_limits<std::int64_t>::min();
constexpr auto for_ever = std::numeric_limits<std::int64_t>::max();

/// Line numbers of a leg's gates.
constexpr std::uint16_t gate_of(int leg, int side) noexcept {
  return static_cast<std::uint16_t>(2 * leg + side);
}

/// One leg's two switches, edge by edge; side 0 is the high one.
class LegWatch {
 public:
  LegWatch(const RecordReader& record, int leg, const Stretch& window, GateStatistics& found)
      : window_(window),
        found_(found),
        on_{record.initially_high(gate_of(leg, 0)), record.initially_high(gate_of(leg, 1))} {}

  void edge(int its_side, std::int64_t at_ps, bool on) {
    const auto side = static_cast<std::size_t>(its_side);
    if (on_[side] == on) return;
    (on ? turned_on(side, at_ps) : turned_off(side, at_ps));
    on_[side] = on;
    if (on_[0] && on_[1]) together_ps_ = at_ps;
  }
  void end() {
    if (on_[0] && on_[1]) count_overlap(for_ever);
  }

 private:
  void turned_on(std::size_t side, std::int64_t at_ps) {
    const std::size_t other = 1 - side;
    on_at_ps_[side] = at_ps;
    if (counts(at_ps) && !on_[other] && last_ == other && off_at_ps_[other] >= window_.from_ps)
      dead_time(at_ps - off_at_ps_[other]);
    last_ = side;
  }

  void turned_off(std::size_t side, std::int64_t at_ps) {
    const std::size_t other = 1 - side;
    off_at_ps_[side] = at_ps;
    last_ = side;
    if (!on_[other]) return;
    // Both were on: the later of the two came this much too early.
    const std::int64_t since_ps = std::max(on_at_ps_[side], on_at_ps_[other]);
    if (counts(at_ps) && since_ps >= window_.from_ps) dead_time(since_ps - at_ps);
    count_overlap(at_ps);
    last_ = other;
  }

  bool counts(std::int64_t at_ps) const {
    return at_ps >= window_.from_ps && at_ps <= window_.to_ps;
  }
  void dead_time(std::int64_t ps) {
    found_.smallest_dead_time_ps = std::min(found_.smallest_dead_time_ps.value_or(ps), ps);
  }
  void count_overlap(std::int64_t until_ps) {
    if (std::min(until_ps, window_.to_ps) > std::max(together_ps_, window_.from_ps))
      ++found_.overlaps;
  }

  const Stretch& window_;
  GateStatistics& found_;
  std::array<bool, 2> on_;
  std::array<std::int64_t, 2> off_at_ps_{never, never}, on_at_ps_{never, never};
  std::size_t last_ = 2;          // which switch was on last; 2: none yet
  std::int64_t together_ps_ = 0;  // since when both are on
};

/// Counts how often each of the leg's gates rises in the window.
std::array<std::size_t, 2> watch_leg(const RecordReader& record, int leg, const Stretch& window,
                                     GateStatistics& found) {
  LegWatch watch(record, leg, window, found);
  EdgeStream high(record, gate_of(leg, 0)), low(record, gate_of(leg, 1));
  std::array<std::size_t, 2> rises{};
  for (;;) {
    // In order of time; at one instant off comes before on.
    const std::int64_t high_ps = high.done() ? for_ever : high.at_ps();
    const std::int64_t low_ps = low.done() ? for_ever : low.at_ps();
    const bool take_high = high_ps != low_ps ? high_ps < low_ps : !high.done() && !high.level();
    EdgeStream& next = take_high || low.done() ? high : low;
    if (next.done()) break;
    const std::int64_t at_ps = next.at_ps();
    if (at_ps > window.to_ps) break;  // what comes now only ends what began before
    const int side = &next == &high ? 0 : 1;
    const bool on = next.level();
    rises[static_cast<std::size_t>(side)] += on && at_ps >= window.from_ps ? 1U : 0U;
    watch.edge(side, at_ps, on);
    next.step();
  }
  watch.end();
  return rises;
}

std::vector<std::int64_t> periods(const RecordReader& record, std::uint16_t gate,
                                  const Stretch& window, std::size_t rises) {
  std::vector<std::int64_t> periods;
  periods.reserve(rises);
  std::int64_t before_ps = never;
  for (EdgeStream edge(record, gate); !edge.done() && edge.at_ps() <= window.to_ps; edge.step()) {
    const std::int64_t at_ps = edge.at_ps();
    if (!edge.level() || at_ps < window.from_ps) continue;
    if (before_ps != never) periods.push_back(at_ps - before_ps);
    before_ps = at_ps;
  }
  return periods;
}

void find_middle(std::vector<std::int64_t> periods, GateStatistics& found) {
  if (periods.empty()) return;
  const auto at_share = [&](double share) {
    return periods.begin() +
           static_cast<std::ptrdiff_t>(share * static_cast<double>(periods.size() - 1));
  };
  const auto lower = at_share(0.25), middle = at_share(0.5), upper = at_share(0.75);
  std::nth_element(periods.begin(), middle, periods.end());
  found.median_ps = *middle;
  std::nth_element(periods.begin(), lower, middle);
  std::nth_element(middle, upper, periods.end());
  found.quartiles_apart_ps = *upper - *lower;
}

}  // namespace

GateStatistics gate_statistics(const RecordReader& record, const Stretch& window) {
  GateStatistics found;
  std::uint16_t busiest = 0;
  for (int leg = 0; leg < leg_count; ++leg) {
    const auto rises = watch_leg(record, leg, window, found);
    for (int side = 0; side < 2; ++side) {
      if (rises[static_cast<std::size_t>(side)] <= found.rises) continue;
      found.rises = rises[static_cast<std::size_t>(side)];
      busiest = gate_of(leg, side);
    }
  }
  find_middle(periods(record, busiest, window, found.rises), found);
  return found;
}

}  // namespace stillrotor
