// The digital filter of a timer's input: a level counts once so many samples in a row have shown
// it.
//
// Modelled as a delay of those samples that starts with the edge; a pulse that is over by then is
// none. Source RM0090, ICxF and ETF.  RT  safe.
#pragma once

#include <array>
#include <utility>

#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

/// Of a setting of ICxF or ETF, in timer clocks; dts: clocks of t_DTS.
constexpr Cycle filter_delay(unsigned setting, Cycle dts) noexcept {
  struct Row {
    std::uint8_t samples, divider;  // divider 0: sampled at the timer's clock
  };
  constexpr std::array<Row, 16> rows{{{0, 0},
                                      {2, 0},
                                      {4, 0},
                                      {8, 0},
                                      {6, 2},
                                      {8, 2},
                                      {6, 4},
                                      {8, 4},
                                      {6, 8},
                                      {8, 8},
                                      {5, 16},
                                      {6, 16},
                                      {8, 16},
                                      {5, 32},
                                      {6, 32},
                                      {8, 32}}};
  const Row row = rows[setting & 15];
  return row.divider == 0 ? row.samples : row.samples * row.divider * dts;
}

class InputFilter {
 public:
  /// The pin's level from then on. delay in cycles.
  void pin(bool level, Cycle at, Cycle delay) noexcept {
    if (level == pin_) return;
    pin_ = level;
    settles_at_ = level == level_ ? never : at + delay;
  }
  /// The same where nothing delays it.
  void set(bool level) noexcept { pin_ = level_ = level; }
  Cycle next() const noexcept { return settles_at_; }
  /// True: the level behind the filter changes at that moment.
  bool settle(Cycle at) noexcept {
    if (settles_at_ > at) return false;
    settles_at_ = never;
    level_ = pin_;
    return true;
  }
  bool level() const noexcept { return level_; }

 private:
  bool pin_ = false, level_ = false;
  Cycle settles_at_ = never;
};

}  // namespace stillrotor::io::cortexm
