// Stretches of a run that are not to be trusted, said as gap marks: those of one cause that nearly
// touch become one, so that a bad minute does not become a million marks.
// Time  ps since arming. RT: as safe as the sink.
#pragma once

#include <algorithm>
#include <cstdint>
#include <string_view>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

class GapNotes {
 public:
  explicit GapNotes(RunSink& sink) noexcept : sink_(sink) {}

  /// what and detail: text that outlives this.
  void note(std::int64_t from_ps, std::int64_t to_ps, std::string_view what,
            std::string_view detail) noexcept {
    if (open_ && (what != what_ || detail != detail_ || from_ps > to_ps_ + apart_ps)) say();
    from_ps_ = open_ ? std::min(from_ps_, from_ps) : from_ps;
    to_ps_ = open_ ? std::max(to_ps_, to_ps) : to_ps;
    what_ = what;
    detail_ = detail;
    open_ = true;
  }
  /// Says what has been over for a while.
  void pass(std::int64_t now_ps) noexcept {
    if (open_ && now_ps > to_ps_ + apart_ps) say();
  }
  void say() noexcept {
    if (open_) sink_.mark(MarkKind::gap, from_ps_, what_, detail_, to_ps_);
    open_ = false;
  }

 private:
  static constexpr std::int64_t apart_ps = 5'000'000'000;  // 5 ms

  RunSink& sink_;
  bool open_ = false;
  std::int64_t from_ps_ = 0, to_ps_ = 0;
  std::string_view what_, detail_;
};

}  // namespace stillrotor
