// A pin of a part, and an address in its data space.
#pragma once

#include <cstdint>

namespace stillrotor::io::mcu {

using Address = std::uint16_t;
inline constexpr Address no_register = 0;

/// A pin of port B, C or D.
struct Pin {
  std::uint8_t port = 0;  // 0: B, 1: C, 2: D
  std::uint8_t bit = 0;   // 0 to 7
  friend bool operator==(const Pin&, const Pin&) = default;
};
inline constexpr unsigned port_count = 3;

/// Bits of a register. No register: the part has none of them.
struct Bits {
  Address at = no_register;
  std::uint8_t mask = 0;
};

}  // namespace stillrotor::io::mcu
