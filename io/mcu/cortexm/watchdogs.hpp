// The independent and the window watchdog. They bite: the part is reset.
//
// Source RM0090, 21 (independent, from the 32 kHz oscillator), 22 (window, from the slow bus).
// Not    the oscillator's tolerance (17 to 47 kHz on the part); stopping while debugged.
// RT     safe.
#pragma once

#include <functional>

#include "io/mcu/cortexm/clock_tree.hpp"

namespace stillrotor::io::cortexm {

using Bite = std::function<void(ResetCause)>;

/// Its time is its own oscillator's, whatever the core's clock does.
class IndependentWatchdog final : public Peripheral, public ClockFollower {
 public:
  IndependentWatchdog(Core&, ClockTree&, Bite);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void clock_changed(Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  /// By the option bytes, as after a reset.
  void start(Cycle at) noexcept { write(0, 0xCCCC, ~Word{0}, at); }
  bool runs() const noexcept { return running_; }

 private:
  void reload(Cycle at) noexcept;
  void on_zero(Cycle) noexcept;

  Core& core_;
  const ClockTree& clocks_;
  Bite bite_;
  unsigned event_;
  bool running_ = false, open_ = false;
  Word prescaler_ = 0, reload_ = 0xfff;
  Time zero_{};
};

class WindowWatchdog final : public Peripheral, public ClockFollower {
 public:
  WindowWatchdog(Core&, ClockTree&, unsigned interrupt, Bite);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void clock_changed(Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;

  bool runs() const noexcept { return control_ & running; }

 private:
  static constexpr Word running = 0x80, last = 0x40, early_interrupt = 0x200;
  Cycle tick() const noexcept;
  Word count(Cycle at) const noexcept;
  void plan(Cycle at) noexcept;
  void on_step(Cycle) noexcept;

  Core& core_;
  const ClockTree& clocks_;
  unsigned interrupt_;
  Bite bite_;
  unsigned event_;
  Word control_ = 0x7f, configuration_ = 0x7f;
  bool early_ = false;
  Cycle since_ = 0, tick_ = 4096;  // control_'s count was right then; tick_: at that clock
};

}  // namespace stillrotor::io::cortexm
