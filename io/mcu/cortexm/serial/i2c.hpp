// I2C as a master: both lines at their cycles, bit by bit, by seven-bit addresses.
//
// Clock  CCR of the bus's cycles: standard (low as long as high), fast (2:1 or 16:9).
// Lines  open drain; the board is taken to have its pull-ups. A line that somebody holds low is
//        waited for, and shows as BUSY.
// Flags  SB, ADDR, TXE, RXNE, BTF, AF, MSL, BUSY, TRA, each set and cleared as the manual's
//        sequences of a master say (EV5 to EV9); ACK and POS; requests for DMA with LAST.
// Source RM0090, 27.3.3 (master), 27.3.7 (DMA), 27.6 (registers).
// Not    slave, ten-bit addresses, SMBus and its PEC: told when asked for. Arbitration: nobody else
//        is a master. Rise times (TRISE, FREQ are kept), set-up times of start and stop are a half
//        clock.
// RT     safe but for what is told.
#pragma once

#include "io/mcu/cortexm/clock_tree.hpp"
#include "io/mcu/cortexm/serial/serial_link.hpp"

namespace stillrotor::io::cortexm {

class I2c final : public Peripheral {
 public:
  I2c(const I2cBlock&, Core&, const ClockTree&, SerialLink);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  void configured(PinId id, Cycle at) noexcept { link_.configured(id, at); }
  /// Asks DMA for what it waits for.
  void serve(Cycle at) noexcept;

 private:
  /// idle: both lines free. held: the clock is held low until the firmware goes on.
  enum class Doing : std::uint8_t { idle, held, starting, sending, receiving, stopping };
  bool is(Word bit) const noexcept { return (control_ & bit) != 0; }
  Cycle low_cycles() const noexcept;
  Cycle high_cycles() const noexcept;
  void line(SerialPin, bool high, Cycle at) noexcept;
  void plan(Doing, Cycle after, Cycle at) noexcept;
  void on_step(Cycle) noexcept;
  void step_start(Cycle at) noexcept;
  void step_bit(Cycle at) noexcept;
  void step_stop(Cycle at) noexcept;
  void put_bit(Cycle at) noexcept;
  void begin_byte(Doing, Word byte, Cycle at) noexcept;
  void go_on(Cycle at) noexcept;
  void byte_sent(bool acknowledged, Cycle at) noexcept;
  void byte_received(Cycle at) noexcept;
  void take_data(Word value, Cycle at) noexcept;
  Word give_data(Cycle at) noexcept;
  void address_cleared(Cycle at) noexcept;
  void write_control(Word value, Cycle at) noexcept;
  Word bus_state() const noexcept;
  void let_go(Cycle at) noexcept;
  void tell() noexcept;

  const I2cBlock& block_;
  Core& core_;
  const ClockTree& clocks_;
  SerialLink link_;
  unsigned event_;
  Word control_ = 0, control_2_ = 0, status_ = 0, ccr_ = 0, rise_ = 2;
  std::array<Word, 2> own_{};
  Word data_ = 0, shift_ = 0;
  Doing doing_ = Doing::idle;
  unsigned phase_ = 0, bit_ = 0;
  bool master_ = false, transmits_ = false, addressing_ = false, address_reads_ = false;
  bool acknowledges_ = false;  // POS: this byte, as decided when it began
  bool last_by_dma_ = false;   // LAST: the byte to come is the last one
  bool may_receive_ = false;   // the byte before was acknowledged
  bool data_waits_ = false;    // DR holds what is to be sent
  bool status_read_ = false, serving_ = false;
};

}  // namespace stillrotor::io::cortexm
