// PWR: voltage scale, wake-up and standby flags, the lock of the backup domain.
//
// VOS   scale 1 or 2; ready at once (VOSRDY). Which frequency a scale allows is the chip's to tell.
//       There is no over-drive (ODEN) on this part: its bits read 0.
// DBP   while it is 0, RTC, its backup registers, backup RAM and RCC_BDCR take nothing.
// Source RM0090, 5.4 (registers of STM32F405), 5.1.2 (backup domain).
// Not    stop and standby modes (WFI sleeps, whatever PDDS says), the voltage detector, the backup
//        regulator's start-up (BRR follows BRE at once).
// RT     safe.
#pragma once

#include "io/mcu/cortexm/bus.hpp"

namespace stillrotor::io::cortexm {

class PowerControl final : public Peripheral {
 public:
  static constexpr Word backup_writable = 1u << 8, scale_1 = 1u << 14;

  Word read(Word offset, Cycle) noexcept override {
    constexpr Word scale_ready = 1u << 14, regulator_on = 1u << 9, regulator_ready = 1u << 3;
    if (offset == CR) return control_;
    if (offset == CSR)
      return scale_ready | status_ | (status_ & regulator_on ? regulator_ready : 0);
    return 0;
  }
  void write(Word offset, Word value, Word mask, Cycle) noexcept override {
    // CWUF and CSBF clear flags that never stand here, and read 0.
    if (offset == CR) control_ = ((control_ & ~mask) | value) & 0x43f3;
    if (offset == CSR) status_ = ((status_ & ~mask) | value) & 0x300;  // EWUP, BRE
  }
  void reset(Cycle) noexcept override {
    control_ = scale_1;
    status_ &= 0x200;  // BRE is in the backup domain
  }
  const Word& control() const noexcept { return control_; }

 private:
  enum : Word { CR = 0, CSR = 4 };
  Word control_ = scale_1, status_ = 0;
};

}  // namespace stillrotor::io::cortexm
