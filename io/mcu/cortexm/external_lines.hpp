// EXTI and the choice of ports in SYSCFG: edges of pins become interrupts.
//
// An edge sets its pending bit at the cycle it happens; the synchroniser's delay is not modelled.
// Source RM0090, 9.2 (SYSCFG), 12.2 (EXTI).
// Not    events (EMR keeps its value), lines above 15 (nothing drives them).
// RT     safe.
#pragma once

#include <span>

#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

class ExternalLines final : public Peripheral, public PinFollower {
 public:
  ExternalLines(Exceptions& exceptions, std::span<const LineInterrupt> lines, LateEdges& late_edges)
      : exceptions_(exceptions), lines_(lines), late_edges_(late_edges), choice_(*this) {}
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void seen(PinId, bool high, Cycle) noexcept override;
  void reset(Cycle at) noexcept override;

  /// SYSCFG: the port of each line, and registers that are kept.
  class Choice final : public Peripheral {
   public:
    explicit Choice(ExternalLines& lines) : lines_(lines) {}
    Word read(Word offset, Cycle) noexcept override {
      return offset / 4 < values_.size() ? values_[offset / 4] : 0;
    }
    void write(Word offset, Word value, Word mask, Cycle at) noexcept override {
      if (offset / 4 < values_.size()) values_[offset / 4] = (values_[offset / 4] & ~mask) | value;
      lines_.choose_pins(at);
    }
    unsigned port_of(unsigned line) const noexcept {
      return values_[2 + line / 4] >> (4 * (line % 4)) & 0xf;
    }
    void reset(Cycle at) noexcept override {
      values_ = {};
      lines_.choose_pins(at);
    }

   private:
    ExternalLines& lines_;
    std::array<Word, 9> values_{};  // MEMRMP, PMC, EXTICR1 to 4, two holes, CMPCR
  };
  Choice& choice() noexcept { return choice_; }
  /// Of that port, those that a line listens to.
  const Pins& pins(unsigned port) const noexcept { return pins_[port]; }

 private:
  void tell() noexcept;
  void choose_pins(Cycle at) noexcept;

  Exceptions& exceptions_;
  std::span<const LineInterrupt> lines_;
  LateEdges& late_edges_;
  Choice choice_;
  std::array<Pins, 16> pins_{};
  Word mask_ = 0, events_ = 0, rising_ = 0, falling_ = 0, pending_ = 0;
};

}  // namespace stillrotor::io::cortexm
