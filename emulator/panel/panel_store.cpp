#include "emulator/panel/panel_store.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/panel/panel_tap.hpp"

namespace stillrotor {
namespace {

/// Finest bins of lines: 8 points of the grid.
std::int64_t bin_ps(double rate_Hz) { return std::llround(8e12 / rate_Hz); }

std::int64_t picoseconds(double time_s) noexcept {
  constexpr double most_s = 9e6;  // of an int64
  return std::llround(std::clamp(time_s, -most_s, most_s) * 1e12);
}

}  // namespace

PanelStore::PanelStore(double rate_Hz,
                       std::span<const std::uint8_t, io::line_bytes> initial_lines_high)
    : signals_(rate_Hz) {
  lines_.reserve(io::line_count);
  for (std::size_t k = 0; k < io::line_count; ++k)
    lines_.emplace_back((initial_lines_high[k / 8] >> (k % 8) & 1) != 0, bin_ps(rate_Hz));
}

void PanelStore::edge(const LineEdge& edge) noexcept {
  using State = LineHistory::State;
  if (edge.line == tap::lines_lost) {
    for (LineHistory& line : lines_) line.change(edge.at_ps, State::unknown);
    return;
  }
  const std::size_t line = edge.line & ~tap::after_loss;
  if (line < lines_.size())
    lines_[line].change(edge.at_ps, edge.level != 0 ? State::high : State::low);
}

void PanelStore::mark(MarkKind kind, std::int64_t at_ps, std::string_view name,
                      std::string_view detail, std::int64_t to_ps) noexcept {
  if (name == tap::not_shown) return;  // nothing of the run's; counted by the tap
  if (kind == MarkKind::gap) ++gaps_;
  marks_.push_back({kind, at_ps, to_ps, std::string(name), std::string(detail)});
  if (marks_.size() <= marks_most) return;
  marks_.pop_front();
  ++marks_gone_;
}

void PanelStore::columns(Signal signal, std::span<const std::int64_t> bounds,
                         std::span<Column> columns) const {
  for (std::size_t c = 0; c < columns.size(); ++c)
    columns[c] = signals_.over(signal, bounds[c], bounds[c + 1]);
}

void PanelStore::raw(Signal signal, std::int64_t from, std::span<float> values) const {
  for (float& value : values) value = signals_.raw(signal, from++);
}

void PanelStore::line(std::uint16_t line, double from_s, double step_s,
                      std::span<std::uint8_t> columns) const {
  const std::int64_t known_ps =
      picoseconds(static_cast<double>(signals_.points()) / signals_.rate_Hz());
  std::vector<std::int64_t> bounds(columns.size() + 1);
  for (std::size_t c = 0; c < bounds.size(); ++c)
    bounds[c] = std::min(picoseconds(from_s + static_cast<double>(c) * step_s), known_ps);
  lines_[line].columns(bounds, columns);
}

}  // namespace stillrotor
