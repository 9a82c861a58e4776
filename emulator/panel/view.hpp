// What a page wants to see, and the frame that shows it (docs/panel-messages.md, binary).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "emulator/panel/view_source.hpp"

namespace stillrotor {

struct ViewSpec {
  enum class Kind : std::uint8_t { off, scope, samples, stream };
  std::uint8_t id = 0;
  Kind kind = Kind::off;
  std::vector<Signal> signals;
  std::vector<std::uint16_t> lines;  // scope
  double span_s = 0.02;              // scope
  std::optional<double> end_s;       // absent: follows the present
  std::uint32_t columns = 1200;      // scope
  std::uint32_t count = 8192;        // samples
  double every_s = 0.5;              // samples
};

/// What a scope looks at.
struct ViewWindow {
  double from_s = 0.0, to_s = 0.0;
  std::optional<double> trigger_s;
  bool follows = false, frozen = false;
  std::int64_t end = 0;  // follows: its end in columns since time 0
};

/// The columns of a view that follows, as they were shown last: most only move on.
struct ShownColumns {
  std::int64_t end = -1;  // see ViewWindow; -1: nothing
  std::vector<std::vector<Column>> signals;
  std::vector<std::vector<std::uint8_t>> lines;
};
/// Of a scope that follows: its columns stand at whole multiples of their width, so that a curve
/// moves by columns and does not change its shape.
ViewWindow present_window(const ViewSource&, const ViewSpec&) noexcept;
/// Around a trigger, `before` of the span in front of it.
ViewWindow trigger_window(const ViewSpec&, double trigger_s, double before) noexcept;
ViewWindow past_window(const ViewSpec&) noexcept;

using FrameBytes = std::vector<std::uint8_t>;
/// shown: of this view's last frame; it becomes this one's.
FrameBytes scope_frame(const ViewSource&, const ViewSpec&, const ViewWindow&,
                       std::uint32_t sequence, ShownColumns& shown);
/// The newest points, or those that end at end_s.
FrameBytes samples_frame(const ViewSource&, const ViewSpec&, std::uint32_t sequence);
/// Points from .. to - 1.
FrameBytes stream_frame(const ViewSource&, const ViewSpec&, std::int64_t from, std::int64_t to,
                        std::uint32_t sequence);

}  // namespace stillrotor
