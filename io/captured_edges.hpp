// From a thread that captures edges to the cycle that reads them: one ring, no locks. Time of arm,
// order, gates of three wires and counts, the same for every backend on wires.
//
// Capture before arm() only levels are kept; at the first sign of life after it they are handed
//         over, and read() brings them as edges at time 0.
// Full    what does not fit is dropped, and told as a Gap as soon as there is room.
// RT      edge(), gap(), alive(): capture thread. read(), counts(): cycle's thread. No allocation,
//         lock, log, throw or system call.
#pragma once

#include <atomic>
#include <boost/lockfree/spsc_queue.hpp>
#include <memory>

#include "io/switch_commands.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

/// Edges may be missing between two stamps of one line.
struct Loss {
  std::int64_t from_ns = 0, to_ns = 0;  // CLOCK_MONOTONIC
  std::uint32_t lost = 0;               // 0: unknown how many
  std::uint32_t at_least = 0;           // so many are known to be
};

class CapturedEdges {
 public:
  CapturedEdges(GateWires, double dead_time_s);

  // Capture thread.
  void edge(std::int64_t monotonic_ns, LineId, bool high) noexcept;
  void gap(const Loss&, LineId) noexcept;
  /// To be called now and then, so that the levels at arm() arrive even where nothing moves.
  void alive(std::int64_t now_ns) noexcept;

  // Cycle's thread.
  void arm(std::int64_t monotonic_ns) noexcept { arm_ns_.store(monotonic_ns); }
  void read(EdgeBatch&, std::int64_t now_ns) noexcept;
  /// failed_writes stays 0.
  WireCounts counts() const noexcept;

 private:
  static constexpr std::int64_t not_armed = INT64_MAX;
  static constexpr std::size_t capacity = 32'768;
  struct Item {
    enum class Kind : std::uint8_t { levels, low, high, gap } kind;
    std::uint16_t line;
    std::uint32_t lost, at_least;  // levels: lost is the word of known lines, at_least their levels
    std::int64_t from_ns, to_ns;   // an edge's stamp is from_ns
  };
  void push(const Item&) noexcept;
  void take(const Item&, EdgeBatch&) noexcept;
  void take_levels(std::uint32_t known, std::uint32_t high, EdgeBatch&) noexcept;
  Time since_arm(std::int64_t monotonic_ns) const noexcept;

  std::atomic<std::int64_t> arm_ns_{not_armed};
  boost::lockfree::spsc_queue<Item, boost::lockfree::capacity<capacity>> ring_;

  // Capture thread only.
  std::uint32_t known_ = 0, levels_ = 0;
  bool handed_over_ = false;
  std::array<Loss, line_count> dropped_{};  // lost > 0: still to be told

  // Cycle's thread only.
  GateWires wires_;
  SwitchCommands commands_;
  Time last_{0};
  WireCounts counts_;
};

}  // namespace stillrotor::io
