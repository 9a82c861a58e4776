// RCC: oscillators, PLL, dividers, and with them what a cycle is in time.
//
// A cycle of the core is one of HCLK. Frequencies follow the registers at the cycle in which a
// switch is written; oscillators and PLL are ready after their start-up times (datasheet, typical,
// from memory), counted in cycles of the clock that runs when they are switched on. A switch to a
// source that is not ready waits for it.
//
// Source RM0090, 7.
// Not    CSS, MCO, I2S PLL but for its ready bit, RTC clock; a block that loses its clock on the
// way
//        works on, only its registers are gone (the bus's guards); the two bus cycles that a block
//        wants before its first access.
// RT     safe.
#pragma once

#include <array>

#include "io/connector.hpp"
#include "io/mcu/cortexm/core.hpp"
#include "io/mcu/cortexm/ratio.hpp"

namespace stillrotor::io::cortexm {

enum class ResetCause : std::uint32_t {
  power = 0x0E000000,
  software = 0x14000000,
  watchdog = 0x24000000,
  window_watchdog = 0x44000000
};

/// Told after a change of frequency, of the core or of a bus.
class ClockFollower {
 public:
  virtual ~ClockFollower() = default;
  virtual void clock_changed(Cycle at) noexcept = 0;
  /// Bits of a reset register (AHB1RSTR to APB2RSTR, by its offset) have been set; of BDCR: BDRST.
  virtual void blocks_reset(Word /*offset*/, Word /*bits*/, Cycle) noexcept {}
};

class ClockTree final : public Peripheral {
 public:
  ClockTree(Core&, std::uint32_t crystal_Hz, std::uint32_t highest_Hz);
  void follow(ClockFollower& follower) { followers_.push_back(&follower); }

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void restart(ResetCause, Cycle at) noexcept;

  /// A register as it stands, for guards.
  const Word& word(Word offset) const noexcept { return registers_[offset / 4]; }
  static constexpr Word backup_control = 0x70, backup_reset = 1u << 16;
  /// BDCR takes nothing while that bit is 0.
  void protect_backup_by(const Word& control, Word mask) noexcept {
    backup_guard_ = {&control, mask};
  }

  std::uint32_t core_Hz() const noexcept { return core_Hz_; }
  /// Core cycles in a cycle of the slow or the fast peripheral bus.
  unsigned bus_divider(bool fast) const noexcept;
  /// Since the first cycle; rounded down to whole picoseconds.
  Time time_at(Cycle cycle) const noexcept {
    return since_ + Time{to_ps_(static_cast<std::int64_t>(cycle - since_cycle_))};
  }
  /// The first cycle at or after that time, at the clock that runs now.
  Cycle cycle_at(Time time) const noexcept {
    if (time <= since_) return since_cycle_;
    return since_cycle_ + static_cast<Cycle>(to_cycles_((time - since_).count(), ps_ - 1));
  }
  Cycle cycles(double seconds) const noexcept {
    return static_cast<Cycle>(seconds * core_Hz_ + 0.5);
  }
  /// The clock that the registers ask for is beyond what the part stands.
  bool is_too_fast() const noexcept { return core_Hz_ > highest_Hz_; }

 private:
  void write_control(Word value, Cycle at) noexcept;
  void on_crystal(Cycle) noexcept;
  void on_pll(Cycle) noexcept;
  void take_over(Cycle at) noexcept;
  void set_frequency(std::uint32_t Hz) noexcept;
  std::uint32_t pll_Hz() const noexcept;

  Core& core_;
  std::uint32_t crystal_Hz_, highest_Hz_;
  unsigned crystal_event_, pll_event_;
  std::vector<ClockFollower*> followers_;
  std::array<Word, 0x8c / 4> registers_{};
  /// The dividers of both buses, as they stand in the register.
  Word buses() const noexcept { return registers_[0x08 / 4] & 0xfc00; }
  std::uint32_t core_Hz_ = 0;
  Ratio to_ps_{1, 1}, to_cycles_{1, 1};  // of cycles and picoseconds, without a common factor
  std::int64_t ps_ = 1;                  // what to_cycles_ divides by
  std::pair<const Word*, Word> backup_guard_{};
  Word told_buses_ = 0;
  Cycle since_cycle_ = 0;
  Time since_{};
};

}  // namespace stillrotor::io::cortexm
