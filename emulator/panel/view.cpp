#include "emulator/panel/view.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/panel/frame_header.hpp"

namespace stillrotor {
namespace {

class FrameWriter {
 public:
  explicit FrameWriter(const FrameHeader& header)
      : columns_(header.columns),
        raw_((header.flags & frame_flag::raw) != 0),
        bytes_(sizeof header + header.signals * columns_ * (raw_ ? 4U : 16U) +
               std::size_t{header.lines} * header.line_columns) {
    std::memcpy(bytes_.data(), &header, sizeof header);
    at_ = sizeof header;
  }

  void values(std::span<const float> values) {
    std::memcpy(bytes_.data() + at_, values.data(), values.size_bytes());
    at_ += values.size_bytes();
  }
  void columns(std::span<const Column> columns) {
    for (float Column::*part : {&Column::first, &Column::least, &Column::greatest, &Column::last})
      for (const Column& column : columns) values({&(column.*part), 1});
  }
  void line(std::span<const std::uint8_t> columns) {
    std::memcpy(bytes_.data() + at_, columns.data(), columns.size());
    at_ += columns.size();
  }
  FrameBytes done() { return std::move(bytes_); }

 private:
  std::size_t columns_;
  bool raw_;
  FrameBytes bytes_;
  std::size_t at_;
};

/// Edges may reach the panel that much behind the frames of their time.
constexpr double lines_late_s = 0.03;

/// Moves columns to where they stand in this window. Returns how many from the left on are what
/// they were.
std::size_t keep_moved(ShownColumns& shown, const ViewSpec& view, const ViewWindow& window) {
  const std::int64_t by = window.end - shown.end;
  const bool moves =
      window.follows && shown.end >= 0 && by >= 0 && by < static_cast<std::int64_t>(view.columns);
  shown.signals.resize(view.signals.size());
  shown.lines.resize(view.lines.size());
  const auto move = [&](auto& columns) {
    columns.resize(view.columns);
    if (moves) std::rotate(columns.begin(), columns.begin() + by, columns.end());
  };
  for (auto& columns : shown.signals) move(columns);
  for (auto& columns : shown.lines) move(columns);
  return moves ? view.columns - static_cast<std::size_t>(by) : 0;
}

FrameHeader header_of(const ViewSpec& view, FrameKind kind, std::uint32_t sequence) {
  FrameHeader header;
  header.kind = kind;
  header.view = view.id;
  header.sequence = sequence;
  header.signals = static_cast<std::uint16_t>(view.signals.size());
  return header;
}

FrameBytes raw_frame(const ViewSource& source, const ViewSpec& view, FrameHeader header,
                     std::int64_t from) {
  header.flags |= frame_flag::raw;
  header.from_s = time_of_point_s(from, source.rate_Hz());
  header.step_s = 1.0 / source.rate_Hz();
  FrameWriter writer(header);
  std::vector<float> values(header.columns);
  for (const Signal signal : view.signals) {
    source.raw(signal, from, values);
    writer.values(values);
  }
  return writer.done();
}

}  // namespace

ViewWindow present_window(const ViewSource& source, const ViewSpec& view) noexcept {
  const double step_s = view.span_s / view.columns;
  const double now_s = static_cast<double>(source.points()) / source.rate_Hz();
  const double end = std::floor(now_s / step_s + 1e-9);
  return {(end - view.columns) * step_s, end * step_s, {}, true, false,
          static_cast<std::int64_t>(end)};
}

ViewWindow trigger_window(const ViewSpec& view, double trigger_s, double before) noexcept {
  const double from_s = trigger_s - before * view.span_s;
  return {from_s, from_s + view.span_s, trigger_s, false, true};
}

ViewWindow past_window(const ViewSpec& view) noexcept {
  const double end_s = view.end_s.value_or(0.0);
  return {end_s - view.span_s, end_s, {}, false, false};
}

FrameBytes scope_frame(const ViewSource& source, const ViewSpec& view, const ViewWindow& window,
                       std::uint32_t sequence, ShownColumns& shown) {
  FrameHeader header = header_of(view, FrameKind::scope, sequence);
  header.flags = static_cast<std::uint8_t>((window.follows ? frame_flag::follows : 0) |
                                           (window.frozen ? frame_flag::frozen : 0));
  if (window.trigger_s) header.trigger_s = *window.trigger_s;
  header.lines = static_cast<std::uint16_t>(view.lines.size());
  header.line_columns = view.columns;
  header.lines_from_s = window.from_s;
  header.lines_step_s = view.span_s / view.columns;
  const double rate_Hz = source.rate_Hz();
  const std::int64_t before = std::max<std::int64_t>(point_from(window.from_s, rate_Hz) - 1, 0);
  const bool raw = view.span_s * rate_Hz < view.columns && source.has_raw(before);
  if (raw) {
    const std::int64_t behind = point_from(window.to_s, rate_Hz) + 1;
    header.flags |= frame_flag::raw;
    header.from_s = time_of_point_s(before, rate_Hz);
    header.step_s = 1.0 / rate_Hz;
    header.columns = static_cast<std::uint32_t>(std::max<std::int64_t>(behind - before, 0));
  } else {
    header.from_s = header.lines_from_s;
    header.step_s = header.lines_step_s;
    header.columns = view.columns;
  }
  FrameWriter writer(header);
  const std::size_t kept = keep_moved(shown, view, window);
  if (raw) {
    std::vector<float> values(header.columns);
    for (const Signal signal : view.signals) {
      source.raw(signal, before, values);
      writer.values(values);
    }
  } else {
    std::vector<std::int64_t> bounds;
    for (std::size_t c = kept; c <= view.columns; ++c)
      bounds.push_back(point_from(header.from_s + static_cast<double>(c) * header.step_s, rate_Hz));
    for (std::size_t k = 0; k < view.signals.size(); ++k) {
      std::vector<Column>& columns = shown.signals[k];
      source.columns(view.signals[k], bounds, std::span(columns).subspan(kept));
      writer.columns(columns);
    }
  }
  const auto late = static_cast<std::size_t>(lines_late_s / header.lines_step_s) + 1;
  const std::size_t lines_kept = kept - std::min(kept, late);
  for (std::size_t k = 0; k < view.lines.size(); ++k) {
    std::vector<std::uint8_t>& columns = shown.lines[k];
    source.line(view.lines[k],
                header.lines_from_s + static_cast<double>(lines_kept) * header.lines_step_s,
                header.lines_step_s, std::span(columns).subspan(lines_kept));
    writer.line(columns);
  }
  // Single points have left no columns of signals to move on.
  shown.end = window.follows && !raw ? window.end : -1;
  return writer.done();
}

FrameBytes samples_frame(const ViewSource& source, const ViewSpec& view, std::uint32_t sequence) {
  FrameHeader header = header_of(view, FrameKind::samples, sequence);
  const std::int64_t there = source.points();
  const std::int64_t end =
      view.end_s ? std::clamp<std::int64_t>(point_from(*view.end_s, source.rate_Hz()), 0, there)
                 : there;
  std::int64_t from = std::max<std::int64_t>(end - view.count, 0);
  if (!view.end_s) header.flags = frame_flag::follows;
  header.columns = static_cast<std::uint32_t>(end - from);
  return raw_frame(source, view, header, from);
}

FrameBytes stream_frame(const ViewSource& source, const ViewSpec& view, std::int64_t from,
                        std::int64_t to, std::uint32_t sequence) {
  FrameHeader header = header_of(view, FrameKind::stream, sequence);
  header.flags = frame_flag::follows;
  header.columns = static_cast<std::uint32_t>(std::max<std::int64_t>(to - from, 0));
  return raw_frame(source, view, header, from);
}

}  // namespace stillrotor
