// The counter by itself: up, down, or up and down, many ticks at a time.
//
// Up       0 ... top, and the tick that leaves top brings 0: overflow.
// Down     top ... 0, and the tick that leaves 0 brings top: underflow.
// Centred  0 ... top ... 0; the ticks that arrive at top and at 0 are overflow and underflow.
// A count above top (top was lowered) goes on to the register's end and from there to 0, and that
// is no overflow. top 0 stands still.
//
// Source RM0090, counter modes of TIM1 and TIM8.  RT  safe.
#pragma once

#include <algorithm>
#include <cstdint>

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm {

enum class Boundary : std::uint8_t { none, overflow, underflow };

struct Count {
  using Ticks = std::uint64_t;

  Word value = 0, top = 0xffff, maximum = 0xffff;
  bool down = false, centred = false;

  bool stands_still() const noexcept { return top == 0; }
  /// Until it comes to a boundary, or to the end of the register.
  Ticks to_boundary() const noexcept {
    if (down) return centred ? std::max<Ticks>(value, 1) : Ticks{value} + 1;
    if (value > top || (centred && value == top)) return Ticks{maximum} - value + 1;
    return Ticks{top} - value + (centred ? 0 : 1);
  }
  /// How many values lie between it and v in its direction, and how many it passes on the way to
  /// the boundary: it arrives at v on the way where there are fewer of the former.
  Word between(Word v) const noexcept { return down ? ~(v - value) : v - value - 1; }
  Word passed() const noexcept { return down ? value : (value > top ? ~Word{0} : top) - value; }
  /// Not beyond the boundary.
  Boundary move(Ticks ticks) noexcept {
    if (ticks == 0) return Boundary::none;
    if (ticks < to_boundary()) {
      value = static_cast<Word>(down ? value - ticks : value + ticks);
      return Boundary::none;
    }
    if (down) {
      value = centred ? 0 : top;
      down = !centred;
      return Boundary::underflow;
    }
    if (value > top || (centred && value == top)) {
      value = 0;
      return Boundary::none;
    }
    value = centred ? top : 0;
    down = centred;
    return Boundary::overflow;
  }
  /// The comparison behind the PWM modes.
  bool below(Word compare) const noexcept { return down ? value <= compare : value < compare; }
};

}  // namespace stillrotor::io::cortexm
