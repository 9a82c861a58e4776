// The system control space: interrupt controller, system control block, SysTick, FP context.
//
// Source ARM DDI 0403E, B3.2 to B3.4; values of identification registers: TRM of the
// core, 4.1, 7.3. Not    the MPU: it says that it is not there (MPU_TYPE 0), and keeps nothing. RT
// safe.
#pragma once

#include "io/mcu/cortexm/systick.hpp"

namespace stillrotor::io::cortexm {

class SystemControl final : public Peripheral {
 public:
  static constexpr Word base = 0xE000E000, bytes = 0x1000;
  SystemControl(Cpu&, Exceptions&, Scheduler&, unsigned systick_divider);

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  bool privileged_only() const noexcept override { return true; }

  void reset() noexcept;
  bool reset_requested() noexcept { return std::exchange(reset_requested_, false); }
  bool sleeps_deeply() const noexcept { return scr_ & 4; }

 private:
  Word read_interrupt_bits(Word offset) const noexcept;
  void write_interrupt_bits(Word offset, Word bits) noexcept;
  Word read_priorities(unsigned first) const noexcept;
  void write_priorities(unsigned first, Word value, Word mask) noexcept;
  Word interrupt_state() const noexcept;
  void write_interrupt_state(Word value) noexcept;
  Word handler_state() const noexcept;
  void write_handler_state(Word value) noexcept;
  void write_reset_control(Word value) noexcept;
  void write_configuration(Word value) noexcept;

  Cpu& cpu_;
  Exceptions& exceptions_;
  SysTick systick_;
  Word group_ = 0, scr_ = 0, ccr_ = 0, actlr_ = 0, demcr_ = 0;
  bool reset_requested_ = false;
};

}  // namespace stillrotor::io::cortexm
