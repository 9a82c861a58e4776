#include "io/captured_edges.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io {
namespace {

constexpr std::uint32_t bit(LineId line) noexcept { return 1U << index(line); }
constexpr LineId line_id(std::size_t k) noexcept { return LineId(static_cast<std::uint16_t>(k)); }

}  // namespace

CapturedEdges::CapturedEdges(GateWires wires, double dead_time_s)
    : wires_(wires), commands_(wires, Time{std::llround(dead_time_s * 1e12)}) {}

void CapturedEdges::edge(std::int64_t monotonic_ns, LineId line, bool high) noexcept {
  const bool before = monotonic_ns < arm_ns_.load(std::memory_order_acquire);
  if (!before) alive(monotonic_ns);
  known_ |= bit(line);
  levels_ = high ? levels_ | bit(line) : levels_ & ~bit(line);
  if (before && !handed_over_) return;
  using Kind = Item::Kind;
  push({high ? Kind::high : Kind::low, static_cast<std::uint16_t>(line), 0, 0, monotonic_ns, 0});
}

void CapturedEdges::gap(const Loss& loss, LineId line) noexcept {
  if (loss.to_ns < arm_ns_.load(std::memory_order_acquire)) return;
  push({Item::Kind::gap, static_cast<std::uint16_t>(line), loss.lost, loss.at_least, loss.from_ns,
        loss.to_ns});
}

void CapturedEdges::alive(std::int64_t now_ns) noexcept {
  if (!handed_over_ && now_ns >= arm_ns_.load(std::memory_order_acquire)) {
    handed_over_ = true;
    push({Item::Kind::levels, 0, known_, levels_, now_ns, 0});
  }
}

void CapturedEdges::push(const Item& item) noexcept {
  for (std::size_t k = 0; k < line_count; ++k) {
    Loss& owed = dropped_[k];
    if (owed.at_least == 0) continue;
    if (!ring_.push({Item::Kind::gap, static_cast<std::uint16_t>(k), owed.lost, owed.at_least,
                     owed.from_ns, owed.to_ns}))
      break;
    owed = {};
  }
  if (ring_.push(item)) return;
  const bool is_gap = item.kind == Item::Kind::gap;
  const std::int64_t to_ns = is_gap ? item.to_ns : item.from_ns;
  Loss& owed = dropped_[item.line];
  if (owed.at_least == 0) owed = {item.from_ns, to_ns, 0, 0};
  owed.to_ns = std::max(owed.to_ns, to_ns);
  owed.at_least += is_gap ? std::max(item.at_least, 1U) : 1;
  owed.lost = owed.at_least;
}

Time CapturedEdges::since_arm(std::int64_t monotonic_ns) const noexcept {
  const std::int64_t ns = monotonic_ns - arm_ns_.load(std::memory_order_relaxed);
  return Time{std::max<std::int64_t>(ns, 0) * 1000};
}

void CapturedEdges::take_levels(std::uint32_t known, std::uint32_t high, EdgeBatch& out) noexcept {
  for (std::size_t k = 0; k < line_count; ++k) {
    const bool on = (high >> k & 1) != 0;
    // A leg's one wire commands a switch while it is low, too.
    if ((known >> k & 1) != 0 && (on || (is_gate(line_id(k)) && wires_ != GateWires::six)))
      commands_.change(Time{0}, line_id(k), on, out);
  }
}

void CapturedEdges::take(const Item& item, EdgeBatch& out) noexcept {
  switch (item.kind) {
    case Item::Kind::levels:
      take_levels(item.lost, item.at_least, out);
      break;
    case Item::Kind::gap:
      out.gaps[out.gap_count++] = {since_arm(item.from_ns), since_arm(item.to_ns),
                                   line_id(item.line), item.lost};
      counts_.lost_edges += item.at_least;
      ++counts_.gaps;
      break;
    case Item::Kind::low:
    case Item::Kind::high: {
      const Time at = since_arm(item.from_ns);
      if (at < last_) ++counts_.late_stamps;
      commands_.change(at, line_id(item.line), item.kind == Item::Kind::high, out);
      ++counts_.edges;
      break;
    }
  }
}

void CapturedEdges::read(EdgeBatch& out, std::int64_t now_ns) noexcept {
  const std::size_t first = out.edge_count;
  constexpr std::size_t room = line_count * SwitchCommands::most_per_change + 3;
  while (out.edge_count + room <= EdgeBatch::most_edges && out.gap_count < EdgeBatch::most_gaps &&
         ring_.read_available() > 0) {
    const Item& next = ring_.front();
    if (next.kind != Item::Kind::gap && next.from_ns > now_ns) break;
    take(next, out);
    ring_.pop();
  }
  if (now_ns >= arm_ns_.load(std::memory_order_relaxed) && out.edge_count + 3 <= out.most_edges)
    commands_.pass(since_arm(now_ns), out);
  // Nearly in order already. Equal times keep the order in which they came: off before on.
  const auto begin = out.edges.begin();
  for (std::size_t k = first + 1; k < out.edge_count; ++k) {
    const Edge moved = out.edges[k];
    std::size_t to = k;
    for (; to > first && out.edges[to - 1].at > moved.at; --to) out.edges[to] = out.edges[to - 1];
    out.edges[to] = moved;
  }
  if (out.edge_count > first) last_ = std::max(last_, (begin + out.edge_count - 1)->at);
}

WireCounts CapturedEdges::counts() const noexcept { return counts_; }

}  // namespace stillrotor::io
