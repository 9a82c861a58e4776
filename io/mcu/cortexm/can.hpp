// bxCAN on a bus with nobody else: it starts, and what it sends is never acknowledged.
//
// Modes  sleep, initialisation, normal, with their handshakes (INRQ/INAK, SLEEP/SLAK); normal mode
//        begins behind eleven recessive bits.
// Sends  a frame in a mailbox goes out and meets an acknowledge error (LEC 3). The error counter
//        rises by eight each time, to 128: from there, error passive, an unacknowledged frame
//        raises it no more, so the node never goes bus off. It is sent again for ever, or with NART
//        once; ABRQ ends it.
// Source RM0090, 32.4 (modes), 32.7.2 (transmission), 32.7.6 (errors), 32.9 (registers); ISO
// 11898-1,
//        fault confinement. From memory.
// Not    stuff bits in a frame's length; loop-back and silent modes (told); reception: nobody
// sends. RT     safe but for what is told.
#pragma once

#include <array>
#include <functional>

#include "io/mcu/cortexm/clock_tree.hpp"
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {

class Can final : public Peripheral {
 public:
  Can(const CanBlock&, Core&, const ClockTree&, std::function<void(std::string_view)> undone);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;

 private:
  Cycle bits(unsigned count) const noexcept;
  Word master_status() const noexcept;
  Word errors() const noexcept;
  void take_mode(Cycle at) noexcept;
  void write_transmit_status(Word value, Cycle at) noexcept;
  void complete(unsigned mailbox, Word result) noexcept;
  void send(Cycle at) noexcept;
  void on_unacknowledged(Cycle) noexcept;
  void on_synchronised(Cycle) noexcept;
  void tell() noexcept;

  const CanBlock& block_;
  Core& core_;
  const ClockTree& clocks_;
  std::function<void(std::string_view)> undone_;
  unsigned frame_event_, mode_event_;
  Word master_ = 0, flags_ = 0, transmit_ = 0, enables_ = 0, timing_ = 0, last_error_ = 0;
  bool normal_ = false, error_flag_ = false;
  unsigned error_count_ = 0;
  int sending_ = -1;                    // mailbox
  std::array<Word, 0x400 / 4> kept_{};  // mailboxes, filters
};

}  // namespace stillrotor::io::cortexm
