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
    const auto place = static_cast<std::size_t>(edges_ % edges_most);
    at_ps_[place] = at_ps;
    state_[place] = to;
  }
  if (to == State::unknown) last_unknown_ = edges_;
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

std::uint8_t LineHistory::over(std::int64_t from_ps, std::int64_t to_ps) const noexcept {
  from_ps = std::max<std::int64_t>(from_ps, 0);
  if (to_ps <= from_ps) return 0;
  const bool exact =
      edges_ <= edges_most || at_ps_[static_cast<std::size_t>(edges_ % edges_most)] <= from_ps;
  const std::uint8_t all = exact ? from_edges(from_ps, to_ps) : from_bins(from_ps, to_ps);
  return (all & doubt) != 0 ? 0 : all;
}

std::uint8_t LineHistory::from_edges(std::int64_t from_ps, std::int64_t to_ps) const noexcept {
  const std::int64_t oldest = std::max<std::int64_t>(edges_ - edges_most, 0);
  const auto at = [&](std::int64_t number) {
    return at_ps_[static_cast<std::size_t>(number % edges_most)];
  };
  const auto state = [&](std::int64_t number) {
    return state_[static_cast<std::size_t>(number % edges_most)];
  };
  std::int64_t low = oldest, high = edges_;  // the first edge later than from_ps
  while (low < high) {
    const std::int64_t middle = low + (high - low) / 2;
    if (at(middle) <= from_ps)
      low = middle + 1;
    else
      high = middle;
  }
  std::uint8_t all = bits(low == oldest ? initial_ : state(low - 1), doubt);
  constexpr std::uint8_t both = line_column::was_low | line_column::was_high;
  for (std::int64_t number = low; number < edges_ && at(number) < to_ps; ++number) {
    all = followed(all, bits(state(number), doubt));
    if ((all & both) != both) continue;
    // Nothing new can come but the level at the end, and doubt.
    std::int64_t far = edges_;
    std::int64_t near = number;
    while (near + 1 < far) {
      const std::int64_t middle = near + (far - near) / 2;
      if (at(middle) < to_ps)
        near = middle;
      else
        far = middle;
    }
    for (std::int64_t k = number; k <= std::min(near, last_unknown_); ++k)
      if (state(k) == State::unknown) return doubt;
    return followed(all, bits(state(near), doubt));
  }
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
