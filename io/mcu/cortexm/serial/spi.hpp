// SPI as a master: every clock edge at its cycle, at the pins.
//
// Clock  the bus's, by 2 to 256. A frame of 8 or 16 bits, either end first, in all four modes of
//        polarity and phase; frames follow each other without a gap while there is something to
//        send. Full duplex, two lines receiving only, one line.
// Flags  TXE, RXNE, BSY, OVR, MODF (SSM with SSI at 0); both requests for DMA.
// Source RM0090, 28.3 and 28.5 (registers).
// Not    slave, NSS by hardware (a master's select is a pin of its own), CRC, I2S: told when asked
//        for. The input is taken in the cycle of its edge.
// RT     safe but for what is told.
#pragma once

#include "io/mcu/cortexm/clock_tree.hpp"
#include "io/mcu/cortexm/serial/serial_link.hpp"

namespace stillrotor::io::cortexm {

class Spi final : public Peripheral {
 public:
  Spi(const SpiBlock&, Core&, const ClockTree&, SerialLink);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  void configured(PinId id, Cycle at) noexcept { link_.configured(id, at); }
  /// Asks DMA for what it waits for.
  void serve(Cycle at) noexcept;

 private:
  bool is(Word bit) const noexcept { return (control_ & bit) != 0; }
  bool sends() const noexcept;
  bool receives() const noexcept;
  unsigned bits() const noexcept;
  void start_frame(Cycle at) noexcept;
  void start_if_due(Cycle at) noexcept;
  void on_edge(Cycle) noexcept;
  void put_bit(Cycle at) noexcept;
  void end_frame(Cycle at) noexcept;
  void idle_pins(Cycle at) noexcept;
  void write_control(Word value, Cycle at) noexcept;
  void tell() noexcept;

  const SpiBlock& block_;
  Core& core_;
  const ClockTree& clocks_;
  SerialLink link_;
  unsigned event_;
  Word control_ = 0, control_2_ = 0, status_ = 2, polynomial_ = 7, i2s_ = 0;
  Word buffer_ = 0, shifted_out_ = 0, shifted_in_ = 0, received_ = 0;
  unsigned edge_ = 0, put_ = 0;
  bool shifting_ = false, data_read_ = false, status_read_ = false, serving_ = false;
};

}  // namespace stillrotor::io::cortexm
