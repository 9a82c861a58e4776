#include "emulator/panel/panel_tap.hpp"

#include <algorithm>

namespace stillrotor {

PanelTap::PanelTap(std::span<const std::uint8_t, io::line_bytes> initial_lines_high)
    : copy_(tap::not_shown, "the panel did not keep up; the record has it") {
  for (std::size_t k = 0; k < io::line_count; ++k)
    level_[k] = initial_lines_high[k / 8] >> (k % 8) & 1;
}

void PanelTap::frame(const Frame& frame) noexcept {
  record_->frame(frame);
  copy_.frame(frame);
  not_seen_.store(copy_.dropped().all(), std::memory_order_relaxed);
}

void PanelTap::edges(std::span<const LineEdge> several) noexcept {
  record_->edges(several);
  if (several.empty()) return;
  // Told before the new edges, of how it stood before them.
  if (!lines_lost_ || tell_lines()) {
    const std::uint64_t before = copy_.dropped().edges;
    copy_.edges(several);
    if (const std::uint64_t lost = copy_.dropped().edges - before; lost > 0) {
      lines_lost_ = true;
      lost_from_ps_ = several[several.size() - lost].at_ps;
    }
  } else {
    copy_.count_lost(several);
  }
  for (const LineEdge& edge : several)
    if (edge.line < level_.size()) level_[edge.line] = edge.level;
  latest_ps_ = several.back().at_ps;
  not_seen_.store(copy_.dropped().all(), std::memory_order_relaxed);
}

/// After a loss: from when on nothing was known, and where the lines stand now. False: no room.
bool PanelTap::tell_lines() noexcept {
  std::array<LineEdge, 1 + io::line_count> told;
  told[0] = {lost_from_ps_, tap::lines_lost, 0};
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    told[1 + k] = {latest_ps_, static_cast<std::uint16_t>(k | tap::after_loss), level_[k]};
  if (!copy_.has_room_for_edges(told.size())) return false;
  copy_.edges(told);
  lines_lost_ = false;
  return true;
}

void PanelTap::mark(MarkKind kind, std::int64_t at_ps, std::string_view name,
                    std::string_view detail, std::int64_t to_ps) noexcept {
  record_->mark(kind, at_ps, name, detail, to_ps);
  copy_.mark(kind, at_ps, name, detail, to_ps);
  not_seen_.store(copy_.dropped().all(), std::memory_order_relaxed);
}

}  // namespace stillrotor
