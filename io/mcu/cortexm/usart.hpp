// USART as an asynchronous line: transmitter with its double buffer, receiver.
//
// A byte takes start, 8 or 9 data and its stop bits at the rate of BRR and the bus's clock, in
// whole cycles. Text is told line by line, at the end of the last stop bit.
//
// Source RM0090, 30.
// DMA    DMAT and DMAR ask for an item while TXE or RXNE stands.
// Not    synchronous, smartcard, IrDA, LIN, half duplex, parity (its bit is sent as data), and
//        what the pins show meanwhile.
// RT     text_ending allocates nothing once its line has grown.
#pragma once

#include <functional>
#include <string>
#include <string_view>

#include "io/mcu/cortexm/clock_tree.hpp"
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {

class Usart final : public Peripheral {
 public:
  using Text = std::function<void(Cycle, std::string_view)>;
  /// Asks DMA for an item; false: nobody carries.
  using Carry = std::function<bool(bool transmits, Cycle)>;
  Usart(const UsartBlock&, Core&, const ClockTree&, Text, Carry);

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  /// A byte has arrived from outside, stop bit and all.
  void receive(std::uint8_t) noexcept;
  /// Asks DMA for what it waits for.
  void serve(Cycle at) noexcept;

 private:
  void start_byte(Cycle at) noexcept;
  void on_sent(Cycle) noexcept;
  void tell() noexcept;
  Cycle byte_cycles() const noexcept;

  const UsartBlock& block_;
  Core& core_;
  const ClockTree& clocks_;
  Text text_;
  Carry carry_;
  unsigned event_;
  Word status_ = 0, rate_ = 0, received_ = 0;
  std::array<Word, 3> control_{};
  Word guard_ = 0;
  std::uint8_t buffer_ = 0, shifting_ = 0;
  bool busy_ = false, buffered_ = false, serving_ = false;
  std::string line_;
};

}  // namespace stillrotor::io::cortexm
