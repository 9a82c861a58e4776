// Interrupt flags and masks as the datasheet has them, on top of simavr's interrupt table.
//
// A flag is cleared by writing one to it, and only it; enabling an interrupt whose flag is already
// set takes it at once (datasheet, Reset and Interrupt Handling). simavr does neither.
// RT     nothing here allocates.
#pragma once

#include <array>

#include "io/mcu/core.hpp"
#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

class Interrupts {
 public:
  Interrupts(Core&, const ExternalLayout&);

  using Vector = avr_int_vector_t*;
  Vector vector(unsigned number) const noexcept { return vectors_[number]; }
  bool flag(Vector v) const noexcept { return avr_regbit_get(core_.avr(), v->raised) != 0; }
  bool enabled(Vector v) const noexcept { return avr_regbit_get(core_.avr(), v->enable) != 0; }
  void raise(Vector v) noexcept { avr_raise_interrupt(core_.avr(), v); }
  void clear(Vector v) noexcept;
  /// Enabled after its flag was set: take it.
  void raise_if_due(Vector v) noexcept {
    if (flag(v) && enabled(v)) raise(v);
  }

  /// For flags of timers and pins: clears the flags written as one.
  void write_flags(const Write&) noexcept;
  /// For masks of timers and pins: stores, then takes what was waiting.
  void write_mask(const Write&) noexcept;

 private:
  Core& core_;
  std::array<Vector, 64> vectors_{};
};

}  // namespace stillrotor::io::mcu
