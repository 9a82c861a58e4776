// The views of one page: which of them has something new to show, and its frame when there is room
// for one. A view never has two frames on their way: what a page was too slow for is counted.
#pragma once

#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "emulator/panel/request.hpp"
#include "emulator/panel/trigger.hpp"
#include "emulator/panel/view.hpp"

namespace stillrotor {

class ClientViews {
 public:
  using Time = std::chrono::steady_clock::time_point;
  static constexpr double stream_most_s = 1.0;  // what a stream may be behind

  void set(const ViewSpec&, const ViewSource&);
  void arm(TriggerSpec, const ViewSource&);
  void all_off();
  Trigger& trigger() noexcept { return trigger_; }

  /// At most 30 times a second: every view that would show something else than it did is due.
  void turn(const ViewSource&, Time now);
  /// The next view's that is due, each in turn; nothing: none is.
  std::optional<FrameBytes> next_frame(const ViewSource&);
  std::uint64_t missed() const noexcept { return missed_; }

 private:
  struct View {
    ViewSpec spec;
    std::uint32_t sequence = 0;
    bool due = false;
    std::int64_t shown = -1;  // points that there were; stream: the next one; -1: nothing yet
    Time at{};                // samples: when they were due last
    bool trigger_shown = false;
    double trigger_s = 0.0;
    bool whole = false;  // nothing more comes of what it shows
    ShownColumns columns;
  };

  bool changed(View&, const ViewSource&, Time now) const;
  ViewWindow window(const View&, const ViewSource&) const;
  FrameBytes frame(View&, const ViewSource&);

  std::array<View, panel_limit::views> views_;
  Trigger trigger_;
  std::size_t next_ = 0;
  std::uint64_t missed_ = 0;
};

}  // namespace stillrotor
