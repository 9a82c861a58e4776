// Where the guest's state stands while a unit is written: in memory, in registers of the host, or
// known already. A snapshot of it is what a detour starts from.
//
// RT     plain data.
#pragma once

#include <array>
#include <cstdint>

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm::translate {

inline constexpr std::int8_t nowhere = -1;

/// One register. Its value is in memory, or in a host register, or known, or several of these.
struct Place {
  bool in_memory = true;
  std::int8_t host = nowhere;
  bool known = false;
  Word value = 0;
};

/// One float's register: its value is in memory, or in a host register, or in both.
struct SinglePlace {
  bool in_memory = true;
  std::int8_t host = nowhere;
};

/// An operand that a flag was made of: a register that has not been written since, or a number.
struct Source {
  enum class Is : std::uint8_t { number, core, single } is = Is::number;
  std::uint8_t reg = 0;
  Word number = 0;
  static Source of_core(unsigned reg) noexcept {
    return {Is::core, static_cast<std::uint8_t>(reg), 0};
  }
  static Source of_single(unsigned reg) noexcept {
    return {Is::single, static_cast<std::uint8_t>(reg), 0};
  }
  static Source of_number(Word number) noexcept { return {Is::number, 0, number}; }
  bool is_core(unsigned which) const noexcept { return is == Is::core && reg == which; }
  bool is_single(unsigned which) const noexcept { return is == Is::single && reg == which; }
  bool operator==(const Source&) const = default;
};

/// How flags that memory does not have yet are found.
struct Pending {
  enum class By : std::uint8_t {
    memory,
    value,          // N, Z: of a
    compare,        // a - b
    add,            // a + b
    test,           // a & b
    differ,         // a ^ b
    number,         // C: a
    float_compare,  // a with b, neither of them a NaN
  } by = By::memory;
  Source a, b;
  bool borrow = false;  // C is the opposite of the host's
  bool mentions_core(unsigned r) const noexcept {
    return by != By::memory && (a.is_core(r) || b.is_core(r));
  }
  bool mentions_single(unsigned s) const noexcept {
    return by != By::memory && (a.is_single(s) || b.is_single(s));
  }
  bool operator==(const Pending&) const = default;
};

/// When the last load ended, of which the next may make use: long ago, with the instruction before,
/// or as Cpu::last_load has it.
enum class LastLoad : std::uint8_t { as_in_memory, earlier, just_now };

struct Places {
  std::array<Place, 16> core;
  std::array<SinglePlace, 32> single;
  Pending nz, carry, overflow, float_status;
  /// Cycles since what the host's register says.
  unsigned passed = 0;
  LastLoad last_load = LastLoad::as_in_memory;
  std::uint8_t loaded = 0;  // by it
  bool counted_effect = false;
  bool fp_ready = false;  // has been asked for
};

}  // namespace stillrotor::io::cortexm::translate
