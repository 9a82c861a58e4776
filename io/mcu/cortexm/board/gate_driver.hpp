// A gate driver's registers on SPI: is there a fault, and may it drive.
//
// Wires  clock, in (from the master), out, select (low selects). Mode 1: it shifts out with a
// rising
//        clock and takes the input with a falling one (mode 2 has the same edges).
// Frame  16 bits, the highest first: 15 read, 14 to 11 register, 10 to 0 what is written; the
//        answer's bits 10 to 0 are the register's, before the write. A selection with another
//        number of clocks does nothing but set a flag.
//   0 status   10 any flag below; 9 the bridge has tripped since the last clear; 8 it does now;
//              7 a frame of a wrong length since the last clear; 0 enabled
//   1 control  0 enable; 1 clear the flags (reads 0)
//   2 to 7     keep what is written
// Drive  disabled, as it starts, no gate is driven, whatever the chip says.
// Trip   the fault line of the bench's bridge; its registers are this project's own.
#pragma once

#include <array>

#include "io/mcu/cortexm/board/partner.hpp"

namespace stillrotor::io::cortexm {

class GateDriver final : public Partner {
 public:
  static constexpr unsigned clock_wire = 0, in_wire = 1, out_wire = 2, select_wire = 3;

  void seen(unsigned wire, bool high, Time) noexcept override;
  Level pulls(unsigned wire) const noexcept override {
    return wire == out_wire && selected_ && !out_ ? Level::low : Level::released;
  }
  void start() noexcept override;
  void trip(bool now) noexcept {
    tripping_ = now;
    tripped_ |= now;
  }
  bool enabled() const noexcept { return registers_[1] & 1; }

 private:
  std::uint16_t value_of(unsigned reg) const noexcept;
  void execute() noexcept;

  std::array<std::uint16_t, 8> registers_{};
  bool tripping_ = false, tripped_ = false, wrong_length_ = false;
  bool selected_ = false, in_ = true, out_ = false;
  unsigned taken_ = 0;
  std::uint16_t frame_ = 0, answer_ = 0;
};

}  // namespace stillrotor::io::cortexm
