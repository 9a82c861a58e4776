// Between the wires and the plant: takes each line's skew out of its stamps, puts the edges into
// order again, and repairs overlaps of a leg's two switches that only jitter can have made.
//
// Skew     measured per line (a step on all lines at once); taken off every stamp.
// Overlap  both switches of a leg on. Shorter than `impossible` it is taken for jitter larger than
//          the dead time: switching off and switching on are moved to lie one dead time apart about
//          their middle, and it is counted. Longer ones are real: they pass, and are counted too.
// Hold     to know how long an overlap lasts, edges are held back: what has come up to `known_to`
// is
//          final up to settled(). The plant must not pass that.
// Late     an edge older than the known_to before is put there, and counted.
// Time     since arming.  RT: everything but the constructor is safe; no allocation, lock or throw.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "io/connector.hpp"
#include "io/wired.hpp"

namespace stillrotor {

struct GateCleaning {
  /// By LineId: how much later than the others its stamps are, -10 us to 10 us.
  std::array<io::Time, io::line_count> skew{};
  io::Time impossible{};  // overlaps up to this long are jitter; 0: none is; up to 10 us
  io::Time dead_time{};   // what the repair puts back, 0 to 10 us
};

struct Overlap {
  io::Time at{}, length{};
  std::uint8_t leg = 0;  // U, V, W
  bool repaired = false;
};

struct CleaningCounts {
  std::uint64_t repaired = 0, real = 0;  // overlaps
  std::uint64_t late = 0;     // edges that came after their time had been said to be known
  std::uint64_t crowded = 0;  // edges passed on unjudged: too many at once
  io::Time longest_repaired{}, longest_real{};
};

class GateCleaner {
 public:
  /// Throws std::invalid_argument: which value, what is allowed.
  explicit GateCleaner(const GateCleaning&);

  /// By how much settled() stays behind known_to.
  io::Time hold() const noexcept { return hold_; }
  /// The edge's stamp, its line's skew taken off.
  io::Time happened(const io::Edge& edge) const noexcept {
    return edge.at - settings_.skew[io::index(edge.line)];
  }
  /// What comes now and happened before this is late.
  io::Time known() const noexcept { return known_; }

  /// Edges that a read brought, an EdgeBatch at most; everything stamped up to known_to has now
  /// come.
  void take(std::span<const io::Edge>, io::Time known_to) noexcept;
  /// Those that have become final by the last take(), in order of time; of one instant a switch's
  /// off before another's on.
  std::span<const io::Edge> ready() const noexcept { return {ready_.data(), ready_count_}; }
  io::Time settled() const noexcept { return settled_; }

  /// Overlaps that the last take() judged, the first few.
  std::span<const Overlap> overlaps() const noexcept { return {overlaps_.data(), overlap_count_}; }
  const CleaningCounts& counts() const noexcept { return counts_; }

 private:
  static constexpr std::size_t capacity = 2 * io::EdgeBatch::most_edges;
  std::size_t insert(io::Edge, std::size_t not_before) noexcept;
  void remove(std::size_t) noexcept;
  void judge() noexcept;
  void pass() noexcept;
  bool judge_overlap() noexcept;
  void repair(std::size_t fall) noexcept;
  void tell(const Overlap&) noexcept;
  void release(std::size_t count) noexcept;

  GateCleaning settings_;
  io::Time latest_skew_{}, wait_{}, hold_{};
  io::Time known_ = io::Time::min(), settled_ = io::Time::min();
  std::array<io::Edge, capacity> held_;  // the first `judged_` of them are
  std::size_t held_count_ = 0, judged_ = 0;
  std::uint32_t levels_ = 0;  // of the gates, behind the judged ones
  std::array<io::Edge, capacity> ready_;
  std::size_t ready_count_ = 0;
  std::array<Overlap, 16> overlaps_;
  std::size_t overlap_count_ = 0;
  CleaningCounts counts_;
};

}  // namespace stillrotor
