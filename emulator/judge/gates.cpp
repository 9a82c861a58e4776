#include "emulator/judge/gates.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <utility>
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
    if (counts(at_ps) && on_at_ps_[side] >= window_.from_ps) pulse(at_ps - on_at_ps_[side]);
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
  void dead_time(std::int64_t ps) { found_.dead_times_ps.push_back(ps); }
  void pulse(std::int64_t ps) {
    found_.shortest_pulse_ps = found_.pulses == 0 ? ps : std::min(found_.shortest_pulse_ps, ps);
    ++found_.pulses;
  }
  void count_overlap(std::int64_t until_ps) {
    const std::int64_t ps =
        std::min(until_ps, window_.to_ps) - std::max(together_ps_, window_.from_ps);
    if (ps <= 0) return;
    ++found_.overlaps;
    found_.overlap_ps += ps;
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

/// Times between a gate's rises, between its falls, and twice those between its pulses' middles.
struct Periods {
  std::vector<std::int64_t> of_rises, of_falls, of_middles;
};
Periods periods(const RecordReader& record, std::uint16_t gate, const Stretch& window,
                std::size_t rises) {
  Periods periods;
  periods.of_rises.reserve(rises);
  std::int64_t rise_ps = never, fall_ps = never, middle_ps = never;
  for (EdgeStream edge(record, gate); !edge.done() && edge.at_ps() <= window.to_ps; edge.step()) {
    const std::int64_t at_ps = edge.at_ps();
    if (at_ps < window.from_ps) continue;
    if (edge.level()) {
      if (rise_ps != never) periods.of_rises.push_back(at_ps - rise_ps);
      rise_ps = at_ps;
      continue;
    }
    if (fall_ps != never) periods.of_falls.push_back(at_ps - fall_ps);
    fall_ps = at_ps;
    if (rise_ps == never) continue;
    if (middle_ps != never) periods.of_middles.push_back(at_ps + rise_ps - middle_ps);
    middle_ps = at_ps + rise_ps;
  }
  return periods;
}

struct Quartiles {
  std::int64_t median_ps = 0, apart_ps = 0;
};
Quartiles quartiles(std::vector<std::int64_t>& values) {
  const auto at_share = [&](double share) {
    return values.begin() +
           static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  };
  const auto lower = at_share(0.25), middle = at_share(0.5), upper = at_share(0.75);
  std::nth_element(values.begin(), middle, values.end());
  const std::int64_t median_ps = *middle;
  std::nth_element(values.begin(), lower, middle);
  std::nth_element(middle, upper, values.end());
  return {median_ps, *upper - *lower};
}

void find_periods(Periods periods, GateStatistics& found) {
  if (periods.of_rises.empty()) return;
  const Quartiles rises = quartiles(periods.of_rises);
  found.median_ps = rises.median_ps;
  found.quartiles_apart_ps = found.steadiest_quartiles_apart_ps = rises.apart_ps;
  for (auto [values, scale] : {std::pair{&periods.of_falls, 1}, {&periods.of_middles, 2}}) {
    if (values->empty()) continue;
    found.steadiest_quartiles_apart_ps =
        std::min(found.steadiest_quartiles_apart_ps, quartiles(*values).apart_ps / scale);
  }
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
  find_periods(periods(record, busiest, window, found.rises), found);
  std::sort(found.dead_times_ps.begin(), found.dead_times_ps.end());
  return found;
}

}  // namespace stillrotor
