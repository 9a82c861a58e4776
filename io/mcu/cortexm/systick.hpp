// SysTick: 24 bits, down to zero and again from LOAD (DDI 0403E, B3.3).
//
// The count is worked out when somebody looks; the only event is the count's arrival at zero.
// RT     safe.
#pragma once

#include "io/mcu/cortexm/exceptions.hpp"

namespace stillrotor::io::cortexm {

class SysTick {
 public:
  /// divider: of the reference clock (CLKSOURCE 0), in processor cycles.
  SysTick(Exceptions&, Scheduler&, unsigned divider);
  void reset() noexcept;
  Word control(Cycle at) noexcept;  // reading clears COUNTFLAG
  void set_control(Word, Cycle at) noexcept;
  Word load() const noexcept { return load_; }
  void set_load(Word, Cycle at) noexcept;
  Word count(Cycle at) const noexcept;
  void clear_count(Cycle at) noexcept;

 private:
  static constexpr Word on = 1, interrupts = 2, processor_clock = 4;
  Cycle tick() const noexcept { return control_ & processor_clock ? 1 : divider_; }
  void restart(Word count, Cycle at) noexcept;
  void on_zero(Cycle) noexcept;

  Exceptions& exceptions_;
  Scheduler& scheduler_;
  unsigned divider_, event_;
  Word control_ = 0, load_ = 0, from_ = 0;
  Cycle since_ = 0;  // the count was from_ then
  bool counted_ = false;
};

}  // namespace stillrotor::io::cortexm
