// The way in: edges at the controller's pins, and what a route lets the bench know of them.
//
// Order    as they come, each line's stamps in its own order: a stamp is made when an edge is
//          handled. Between lines jitter may turn the order round.
// Jitter   normal, mean 0, from a hash of (seed, line, number of the edge): the same in every run.
// Sampled  what a line does between two looks is not known; a pulse between them is gone unsaid.
// Loss     a bucket of burst_edges that edges_in_per_s refills. What finds it empty is lost. It is
//          told with its number where the route finds loss; else only what the alternation of a
//          line betrays, as a stretch in which any may be missing.
// Time     ps since the start.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "emulator/rehearsal/route.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class IncomingEdges {
 public:
  IncomingEdges(const RehearsedRoute&, std::uint64_t seed);

  /// A line changes; times never decrease.
  void happens(const io::Edge&);
  /// What is stamped up to now_ps, as far as the batch has room; the rest comes next time.
  void hand_over(std::int64_t now_ps, io::EdgeBatch&);

  /// Of WireCounts: edges, lost_edges, gaps.
  const io::WireCounts& counts() const noexcept { return counts_; }
  /// Edges that are gone, told or not; pulses between two samples included.
  std::uint64_t gone() const noexcept { return gone_; }

 private:
  struct Line {
    std::uint64_t number = 0;          // of edges that have happened
    std::int64_t stamp_ps = 0;         // the latest
    io::Level known = io::Level::low;  // as the bench knows it
    std::optional<io::Edge> unseen;    // changed, until the next sample
    std::uint32_t lost = 0;            // since the latest stamp
    std::optional<io::Gap> gap;        // to be told
  };

  void look(std::int64_t now_ps);
  void comes(io::Edge, Line&);
  bool has_room(std::int64_t at_ps) noexcept;
  std::int64_t stamp_ps(const io::Edge&, Line&) const noexcept;

  RehearsedRoute route_;
  std::uint64_t seed_;
  std::array<Line, io::line_count> lines_{};
  std::vector<io::Edge> waiting_;  // by stamp
  double bucket_;
  std::int64_t refilled_ps_ = 0;
  io::WireCounts counts_;
  std::uint64_t gone_ = 0;
};

}  // namespace stillrotor
