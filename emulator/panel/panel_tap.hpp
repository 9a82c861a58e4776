// In front of a run's record: passes everything on, and a copy of it to the panel.
// The copy never waits and never delays: what finds no room on its way is counted as the panel's
// own loss. The record behind has it all the same. Time  ps since the start of the run. RT frame(),
// edges(), mark(): what this adds is wait-free, without allocation or lock. One
//       thread. On the wall clock that is the one that carries to the record, never the cycle.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <span>
#include <string_view>

#include "emulator/handover/dropping_sink.hpp"
#include "emulator/handover/frame.hpp"
#include "io/connector.hpp"

namespace stillrotor {

namespace tap {
/// Name of the gap mark about what did not reach the panel.
inline constexpr std::string_view not_shown = "not shown";
/// As an edge's line: from here on nothing is known of any line.
inline constexpr std::uint16_t lines_lost = 0xFFFF;
/// Bit beside an edge's line: no change, but where the line stands after a loss.
inline constexpr std::uint16_t after_loss = 0x8000;
}  // namespace tap

class PanelTap final : public RunSink {
 public:
  explicit PanelTap(std::span<const std::uint8_t, io::line_bytes> initial_lines_high);
  /// Before the run begins.
  void in_front_of(RunSink& record) noexcept { record_ = &record; }

  void frame(const Frame&) noexcept override;
  void edge(const LineEdge& one) noexcept override { edges({&one, 1}); }
  void edges(std::span<const LineEdge>) noexcept override;
  void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps) noexcept override;

  // The panel's side, one other thread.
  /// Passes on what has come, frames first. Returns whether there was anything.
  bool deliver(RunSink& panel) noexcept { return copy_.deliver(panel); }
  /// Frames, edges and marks that found no room.
  std::uint64_t not_seen() const noexcept { return not_seen_.load(std::memory_order_relaxed); }

 private:
  bool tell_lines() noexcept;

  RunSink* record_ = nullptr;
  DroppingSink copy_;
  std::array<std::uint8_t, io::line_count> level_{};
  bool lines_lost_ = false;
  std::int64_t lost_from_ps_ = 0, latest_ps_ = 0;
  std::atomic<std::uint64_t> not_seen_{0};
};

}  // namespace stillrotor
