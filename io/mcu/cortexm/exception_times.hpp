// How long handlers run, and how deep the main stack has been seen.
//
// Length  from the cycle in which the handler's first instruction may start to that in which it
//         returns, without the more urgent ones in between. Stacking and unstacking belong to no
//         handler.
// RT      safe; a few additions an exception, nothing an instruction.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

class ExceptionTimes {
 public:
  static constexpr unsigned most = 16 + 240;
  struct One {
    std::uint64_t count = 0;  // returned from
    Cycle least = never, greatest = 0, sum = 0;
  };

  void enter(unsigned number, Cycle at) noexcept {
    if (depth_ == most) return;
    if (depth_ != 0) running_[depth_ - 1].own += at - running_[depth_ - 1].since;
    running_[depth_++] = {number, at, 0};
  }
  /// Firmware can also end an exception that is not the innermost; those within it end with it.
  void leave(unsigned number, Cycle at) noexcept {
    unsigned place = depth_;
    while (place > 0 && running_[place - 1].number != number) --place;
    if (place == 0) return;
    while (depth_ >= place) {
      Running& r = running_[--depth_];
      r.own += at - r.since;
      One& one = all_[r.number];
      ++one.count;
      one.least = std::min(one.least, r.own);
      one.greatest = std::max(one.greatest, r.own);
      one.sum += r.own;
      if (depth_ > 0) running_[depth_ - 1].since = at;
    }
  }
  /// A frame has been stacked on the main stack, down to there.
  void stacked(std::uint32_t sp) noexcept { lowest_sp_ = std::min(lowest_sp_, sp); }
  /// The processor is reset: what ran has no end.
  void reset() noexcept { depth_ = 0; }

  const One& of(unsigned number) const noexcept { return all_[number]; }
  Cycle in_handlers(Cycle now) const noexcept {
    Cycle sum = 0;
    for (const One& one : all_) sum += one.sum;
    for (unsigned i = 0; i < depth_; ++i) sum += running_[i].own;
    return depth_ != 0 ? sum + (now - running_[depth_ - 1].since) : sum;
  }
  std::uint32_t lowest_sp() const noexcept { return lowest_sp_; }

 private:
  struct Running {
    unsigned number;
    Cycle since;
    Cycle own;
  };
  std::array<One, most> all_{};
  std::array<Running, most> running_{};
  unsigned depth_ = 0;
  std::uint32_t lowest_sp_ = ~std::uint32_t{0};
};

}  // namespace stillrotor::io::cortexm
