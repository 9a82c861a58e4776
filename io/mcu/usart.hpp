// The transmitter of the USART: what the firmware says, as lines of text.
//
// Timing start bit, data bits, parity, stop bits at 16 (U2X: 8) * (UBRR + 1) cycles each; one byte
//        in the shift register, one in the buffer. A line is told at the end of its last stop bit.
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: USART0.
// Not    the receiver (nothing is connected to it); the synchronous and SPI modes.
// RT     nothing here allocates after construction.
#pragma once

#include <string>

#include "io/mcu/core.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/ports.hpp"

namespace stillrotor::io::mcu {

class Usart {
 public:
  Usart(const UsartLayout&, Core&, Interrupts&, Outside&, const Ports&);
  void reset() noexcept;
  /// Tells what was said since the last line end (the processor stops).
  void flush(Cycle at) noexcept;

 private:
  void write_status(const Write&) noexcept;
  void write_control(const Write&) noexcept;
  void write_data(const Write&) noexcept;
  void write_shared(const Write&) noexcept;
  std::uint8_t read_shared(Address, Cycle) noexcept;
  std::uint8_t read_data(Address, Cycle) noexcept { return 0; }
  static void on_handler(avr_irq_t*, std::uint32_t running, void* self);
  Cycle cycles_per_byte() const noexcept;
  void shift(std::uint8_t byte, Cycle at) noexcept;
  void on_sent(Cycle) noexcept;

  const UsartLayout& layout_;
  Core& core_;
  Interrupts& interrupts_;
  Outside& outside_;
  const Ports& ports_;
  Interrupts::Vector empty_, complete_;
  bool busy_ = false, buffered_ = false;
  std::uint8_t shifting_ = 0, buffer_ = 0;
  // Where both share an address.
  std::uint8_t format_ = 0, rate_high_ = 0;
  Cycle rate_read_at_ = 0;
  std::string line_;
};

}  // namespace stillrotor::io::mcu
