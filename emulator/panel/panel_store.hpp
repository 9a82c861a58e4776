// What a run has produced so far, as far as a panel keeps it. Filled and read by the server's
// thread.
#pragma once

#include <cstdint>
#include <deque>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/handover/frame.hpp"
#include "emulator/panel/line_history.hpp"
#include "emulator/panel/signal_history.hpp"
#include "emulator/panel/view_source.hpp"
#include "io/connector.hpp"

namespace stillrotor {

struct PanelMark {
  MarkKind kind = MarkKind::event;
  std::int64_t at_ps = 0, to_ps = 0;
  std::string name, detail;
};

class PanelStore final : public RunSink, public ViewSource {
 public:
  static constexpr std::size_t marks_most = 20'000;

  /// initial_lines_high: bit k, LineId k reads high at time 0.
  PanelStore(double rate_Hz, std::span<const std::uint8_t, io::line_bytes> initial_lines_high);

  // RunSink. Edges of PanelTap's: what it says of lines after a loss is understood.
  void frame(const Frame& frame) noexcept override { signals_.add(frame); }
  void edge(const LineEdge&) noexcept override;
  void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps) noexcept override;

  // ViewSource
  double rate_Hz() const noexcept override { return signals_.rate_Hz(); }
  std::int64_t points() const noexcept override { return signals_.points(); }
  void columns(Signal, std::span<const std::int64_t> bounds, std::span<Column>) const override;
  bool has_raw(std::int64_t from) const noexcept override { return signals_.has_raw(from); }
  void raw(Signal, std::int64_t from, std::span<float>) const override;
  void line(std::uint16_t line, double from_s, double step_s,
            std::span<std::uint8_t>) const override;

  /// The latest ones, by the order they came in; the first has number marks_gone().
  const std::deque<PanelMark>& marks() const noexcept { return marks_; }
  std::uint64_t marks_gone() const noexcept { return marks_gone_; }
  std::uint64_t gaps() const noexcept { return gaps_; }

 private:
  SignalHistory signals_;
  std::vector<LineHistory> lines_;
  std::deque<PanelMark> marks_;
  std::uint64_t marks_gone_ = 0, gaps_ = 0;
};

}  // namespace stillrotor
