// From an encoding to what executes it.
//
// Each group of instructions has a table of rows {mask, value, build}, in the manual's order (DDI
// 0403E, A5.2 16-bit, A5.3 32-bit, A6.4 to A6.9 floating point); the first row that fits builds the
// Op. An encoding that no row takes is undefined, or is one that the part does not have.
#pragma once

#include <span>

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm {

struct Encoding {
  Word bits;  // 32-bit instructions: first halfword in the upper half
  Word address;
  constexpr Word field(unsigned high, unsigned low) const noexcept {
    return bits >> low & ((Word{2} << (high - low)) - 1);
  }
  constexpr bool bit(unsigned at) const noexcept { return bits >> at & 1; }
  /// PC as an operand: the instruction's address and 4 (A5.1.2), word-aligned where it is a base.
  constexpr Word pc() const noexcept { return address + 4; }
  constexpr Word aligned_pc() const noexcept { return pc() & ~Word{3}; }
};

enum class Decoded : std::uint8_t { done, undefined, unpredictable };

struct Row {
  Word mask, value;
  Decoded (*build)(const Encoding&, Op&);
};

inline Decoded look_up(std::span<const Row> rows, const Encoding& e, Op& op) {
  for (const Row& row : rows)
    if ((e.bits & row.mask) == row.value) return row.build(e, op);
  return Decoded::undefined;
}

/// Fills in all but halfwords and hop. What cannot be executed becomes an Op that says so when it
/// is reached.
void decode_instruction(Word bits, bool wide, Word address, Op&);

Decoded decode_16(const Encoding&, Op&);
Decoded decode_data(const Encoding&, Op&);      // A5.3.1 to A5.3.3, A5.3.11
Decoded decode_register(const Encoding&, Op&);  // A5.3.12 to A5.3.17
Decoded decode_memory(const Encoding&, Op&);    // A5.3.5 to A5.3.10
Decoded decode_control(const Encoding&, Op&);   // A5.3.4
Decoded decode_float(const Encoding&, Op&);     // A6

/// The same handler in and outside of an IT block.
inline Decoded executes(Op& op, Handler handler) {
  op.execute = op.in_it = handler;
  return Decoded::done;
}
inline Decoded executes(Op& op, Handler handler, Handler in_it) {
  op.execute = handler;
  op.in_it = in_it;
  return Decoded::done;
}
/// Not to stand in an IT block, or not before its end.
const Op* unpredictable_here(Cpu&, const Op*);

// What 16-bit and 32-bit encodings share.
Handler conditional_branch(Word condition) noexcept;
Decoded branch_to(const Encoding&, Word offset, Op&);
Decoded hint_number(Word number, Op&);

constexpr bool is_sp_or_pc(Word reg) noexcept { return reg == 13 || reg == 15; }

}  // namespace stillrotor::io::cortexm
