// Finds edges that never came, line by line.
//
// Numbers   a jump in the kernel's sequence numbers: exactly so many were dropped from its queue.
// Direction the same direction twice: an odd number is missing, dropped or merged before the kernel
//           saw them. Where the numbers explain it, it is not told twice.
// Full queue (no numbers): what came while it was full is missing, if anything did.
// Blind     an even number merged before the kernel's interrupt handler (a pulse shorter than its
//           latency) leaves no trace.
#pragma once

#include <cstdint>
#include <optional>

#include "io/captured_edges.hpp"
#include "io/gpiod/library.hpp"

namespace stillrotor::io::gpiod {

/// One line. RT: safe.
class LossWatch {
 public:
  /// The level at a time, before the first edge.
  void start(std::int64_t now_ns, bool active) noexcept {
    last_ns_ = now_ns;
    active_ = active;
  }
  /// To be called for every edge, in the order in which the kernel gave them. What is missing
  /// before it.
  std::optional<Loss> next(const RawEdge&) noexcept;
  /// The line's queue was full when it was emptied at now_ns; its last edge has been told.
  Loss queue_was_full(std::int64_t now_ns) const noexcept { return {last_ns_, now_ns, 0, 0}; }
  /// The line is gone.
  Loss gone(std::int64_t now_ns) const noexcept { return {last_ns_, now_ns, 0, 0}; }

 private:
  std::int64_t last_ns_ = 0;
  std::uint32_t sequence_ = 0;
  bool active_ = false;
};

}  // namespace stillrotor::io::gpiod
