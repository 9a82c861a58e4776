#include "emulator/panel/line_history.hpp"

#include <algorithm>

#include "emulator/panel/view_source.hpp"

namespace stillrotor {
namespace {

using State = LineHistory::State;

constexpr std::uint8_t bits(State state, std::uint8_t doubt) noexcept {
  switch (state) {
    case State::low:
      return line_column::was_low;
    case State::high:
      return line_column::was_high | line_column::ends_high;
    case State::unknown:
      break;
  }
  return doubt;
}

/// `now` behind `before` in one column: the level at its end is the later one's.
constexpr std::uint8_t followed(std::uint8_t before, std::uint8_t now) noexcept {
  return static_cast<std::uint8_t>((before & ~line_column::ends_high) | now);
}

}  // namespace

LineHistory::LineHistory(bool initially_high, std::int64_t bin_ps)
    : bin_ps_(std::max<std::int64_t>(bin_ps, 1)),
      initial_(initially_high ? State::high : State::low),
      now_(initial_) {}

void LineHistory::enter(Level& level, std::int64_t bin) {
  const std::uint8_t held = bits(now_, doubt);
  if (bin - level.count > bins_most) {  // what lies between is gone already
    level.bins.assign(bins_most, held);
    level.count = bin + 1;
  }
  for (; level.count <= bin; ++level.count) {
    if (level.count < bins_most && level.bins.size() < bins_most)
      level.bins.push_back(held);
    else
      level.bins[static_cast<std::size_t>(level.count % bins_most)] = held;
  }
}

void LineHistory::change(std::int64_t at_ps, State to) {
  if (edges_ < edges_most) {
    at_ps_.push_back(at_ps);
    state_.push_back(to);
  } else {
    at_ps_[place(edges_)] = at_ps;
    state_[place(edges_)] = to;
  }
  ++edges_;
  std::int64_t size_ps = bin_ps_;
  for (Level& level : levels_) {
    const std::int64_t bin = std::max<std::int64_t>(at_ps, 0) / size_ps;
    enter(level, bin);
    if (bin >= level.count - bins_most) {
      std::uint8_t& there = level.bins[static_cast<std::size_t>(bin % bins_most)];
      // An edge at the bin's begin: what was before is not in it.
      const bool at_begin = bin * size_ps == at_ps && there == bits(now_, doubt);
      there = at_begin ? bits(to, doubt) : followed(there, bits(to, doubt));
    }
    if (size_ps > INT64_MAX / coarser) break;
    size_ps *= coarser;
  }
  now_ = to;
}

void LineHistory::columns(std::span<const std::int64_t> bounds_ps,
                          std::span<std::uint8_t> columns) const noexcept {
  std::int64_t next = -1;  // the first edge later than the column's begin, once it is known
  for (std::size_t c = 0; c < columns.size(); ++c) {
    const std::int64_t from_ps = std::max<std::int64_t>(bounds_ps[c], 0), to_ps = bounds_ps[c + 1];
    columns[c] = 0;
    if (to_ps <= from_ps) continue;
    const bool exact = edges_ <= edges_most || at_ps_[place(edges_)] <= from_ps;
    if (exact && next < 0) next = first_later(from_ps);
    const std::uint8_t all = exact ? from_edges(next, from_ps, to_ps) : from_bins(from_ps, to_ps);
    columns[c] = (all & doubt) != 0 ? std::uint8_t{0} : all;
  }
}

std::int64_t LineHistory::first_later(std::int64_t than_ps) const noexcept {
  std::int64_t low = oldest(), high = edges_;
  while (low < high) {
    const std::int64_t middle = low + (high - low) / 2;
    if (at_ps_[place(middle)] <= than_ps)
      low = middle + 1;
    else
      high = middle;
  }
  return low;
}

/// next: no later than the first edge behind from_ps; then the first one not before to_ps.
std::uint8_t LineHistory::from_edges(std::int64_t& next, std::int64_t from_ps,
                                     std::int64_t to_ps) const noexcept {
  while (next < edges_ && at_ps_[place(next)] <= from_ps) ++next;
  std::uint8_t all = bits(next == oldest() ? initial_ : state_[place(next - 1)], doubt);
  for (; next < edges_ && at_ps_[place(next)] < to_ps; ++next)
    all = followed(all, bits(state_[place(next)], doubt));
  return all;
}

std::uint8_t LineHistory::from_bins(std::int64_t from_ps, std::int64_t to_ps) const noexcept {
  std::int64_t size_ps = bin_ps_;
  for (const Level& level : levels_) {
    const std::int64_t first = from_ps / size_ps, last = (to_ps - 1) / size_ps;
    // Fine enough to be kept that far back; coarse enough to be few.
    if (first >= level.count - bins_most && last - first < 2 * coarser) {
      std::uint8_t all = 0;
      for (std::int64_t bin = first; bin <= last; ++bin)
        all =
            followed(all, bin < level.count ? level.bins[static_cast<std::size_t>(bin % bins_most)]
                                            : bits(now_, doubt));
      return all;
    }
    if (size_ps > INT64_MAX / coarser) break;
    size_ps *= coarser;
  }
  return 0;
}

}  // namespace stillrotor
