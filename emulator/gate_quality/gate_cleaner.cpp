#include "emulator/gate_quality/gate_cleaner.hpp"

#include <algorithm>
#include <stdexcept>
#include <string>

namespace stillrotor {
namespace {

constexpr io::Time most = std::chrono::microseconds(10);

bool is_on(const io::Edge& edge) noexcept { return edge.level == io::Level::high; }
bool is_off(const io::Edge& edge) noexcept { return io::is_gate(edge.line) && !is_on(edge); }
/// Of one instant: switches go off first, then lines by number.
bool before(const io::Edge& a, const io::Edge& b) noexcept {
  if (a.at != b.at) return a.at < b.at;
  if (is_off(a) != is_off(b)) return is_off(a);
  return a.line < b.line;
}
std::uint32_t bit(io::LineId line) noexcept { return 1U << io::index(line); }
/// The other switch of a gate's leg.
io::LineId other(io::LineId gate) noexcept {
  return io::LineId(static_cast<std::uint16_t>(io::index(gate) ^ 1U));
}

void require(const char* name, io::Time value, io::Time least) {
  if (value >= least && value <= most) return;
  throw std::invalid_argument(std::string(name) + " is " + std::to_string(value.count()) +
                              " ps; allowed " + std::to_string(least.count()) +
                              " ps to 10 us. Measure it on the lines as they are wired.");
}

}  // namespace

GateCleaner::GateCleaner(const GateCleaning& settings) : settings_(settings) {
  for (const io::Time skew : settings.skew) {
    require("skew", skew, -most);
    latest_skew_ = std::max(latest_skew_, skew);
  }
  require("impossible", settings.impossible, io::Time{0});
  require("dead_time", settings.dead_time, io::Time{0});
  // So far reach an overlap's end, and where its repair may put the switch that comes on.
  wait_ = std::max(settings.impossible, (settings.impossible + settings.dead_time) / 2);
  hold_ = latest_skew_ + wait_ + settings.dead_time / 2;
}

void GateCleaner::take(std::span<const io::Edge> edges, io::Time known_to) noexcept {
  ready_count_ = overlap_count_ = 0;
  for (io::Edge edge : edges) {
    edge.at = happened(edge);
    if (edge.at < known_) {
      edge.at = known_;
      ++counts_.late;
    }
    if (held_count_ == capacity) {
      ++counts_.crowded;
      settled_ = std::max(settled_, held_[0].at);
      release(1);
    }
    insert(edge, judged_);
  }
  known_ = std::max(known_, known_to - latest_skew_);
  judge();
  settled_ = std::max(settled_, known_to - hold_);
  std::size_t final_count = 0;
  while (final_count < judged_ && held_[final_count].at <= settled_) ++final_count;
  release(std::min(final_count, capacity - ready_count_));
}

std::size_t GateCleaner::insert(io::Edge edge, std::size_t not_before) noexcept {
  std::size_t place = held_count_++;
  for (; place > not_before && before(edge, held_[place - 1]); --place)
    held_[place] = held_[place - 1];
  held_[place] = edge;
  return place;
}

void GateCleaner::remove(std::size_t place) noexcept {
  std::move(held_.begin() + place + 1, held_.begin() + held_count_, held_.begin() + place);
  --held_count_;
}

void GateCleaner::judge() noexcept {
  while (judged_ < held_count_ && held_[judged_].at <= known_) {
    const io::Edge edge = held_[judged_];
    if (io::is_gate(edge.line) && is_on(edge) && (levels_ & bit(other(edge.line))) != 0) {
      if (edge.at + wait_ > known_) return;
      if (!judge_overlap()) continue;
    }
    pass();
  }
}

void GateCleaner::pass() noexcept {
  const io::Edge& edge = held_[judged_++];
  if (!io::is_gate(edge.line)) return;
  levels_ = is_on(edge) ? levels_ | bit(edge.line) : levels_ & ~bit(edge.line);
}

/// That which the first edge not yet judged begins. False: repaired, another edge stands there now.
bool GateCleaner::judge_overlap() noexcept {
  const io::Edge edge = held_[judged_];
  std::size_t end = judged_ + 1;  // whichever of the two goes off first ends the overlap
  while (end < held_count_ && !(is_off(held_[end]) && (held_[end].line == edge.line ||
                                                       held_[end].line == other(edge.line))))
    ++end;
  const bool ended = end < held_count_;
  const io::Time length = (ended ? held_[end].at : known_) - edge.at;
  const auto leg = static_cast<std::uint8_t>(io::index(edge.line) / 2);
  // A switch that comes and goes while the other stays on is no exchange of the two.
  if (ended && held_[end].line == other(edge.line) && length <= settings_.impossible) {
    ++counts_.repaired;
    counts_.longest_repaired = std::max(counts_.longest_repaired, length);
    tell({edge.at, length, leg, true});
    repair(end);
    return false;
  }
  ++counts_.real;
  counts_.longest_real = std::max(counts_.longest_real, length);
  tell({edge.at, length, leg, false});
  return true;
}

void GateCleaner::repair(std::size_t fall) noexcept {
  const std::size_t rise = judged_;
  io::Edge on = held_[rise], off = held_[fall];
  const io::Time middle = on.at + (off.at - on.at) / 2;
  off.at = middle - settings_.dead_time / 2;
  on.at = middle + settings_.dead_time / 2;
  // A pulse shorter than what it is moved by ends where it began; no line turns round.
  for (std::size_t k = rise; k-- > 0;)
    if (held_[k].line == off.line) {
      off.at = std::max(off.at, held_[k].at + io::Time{1});
      break;
    }
  for (std::size_t k = fall + 1; k < held_count_; ++k)
    if (held_[k].line == on.line) {
      on.at = std::min(on.at, held_[k].at - io::Time{1});
      break;
    }
  off.at = std::max(off.at, settled_);
  on.at = std::max(on.at, off.at);
  remove(fall);
  remove(rise);
  if (insert(off, 0) <= judged_) {
    ++judged_;
    levels_ &= ~bit(off.line);
  }
  insert(on, judged_);
}

void GateCleaner::tell(const Overlap& overlap) noexcept {
  if (overlap_count_ < overlaps_.size()) overlaps_[overlap_count_++] = overlap;
}

void GateCleaner::release(std::size_t count) noexcept {
  if (count == 0) return;
  while (judged_ < count) pass();
  std::copy_n(held_.begin(), count, ready_.begin() + ready_count_);
  ready_count_ += count;
  std::move(held_.begin() + count, held_.begin() + held_count_, held_.begin());
  held_count_ -= count;
  judged_ -= count;
}

}  // namespace stillrotor
