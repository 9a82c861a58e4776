// 32-bit data processing with an immediate, and with a shifted register (A5.3.1, A5.3.3, A5.3.11).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_data.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

/// Which of the sixteen operations, in the encoding's order; test: Rd 15 with S compares only.
template <bool SetFlags, Keep Where>
Handler select(Word operation, Operand kind) {
  switch (operation) {
    case 0:
      return data_with<Alu::and_, SetFlags, Where>(kind);
    case 1:
      return data_with<Alu::bic, SetFlags, Where>(kind);
    case 2:
      return data_with<Alu::orr, SetFlags, Where>(kind);
    case 3:
      return data_with<Alu::orn, SetFlags, Where>(kind);
    case 4:
      return data_with<Alu::eor, SetFlags, Where>(kind);
    case 8:
      return data_with<Alu::add, SetFlags, Where>(kind);
    case 10:
      return data_with<Alu::adc, SetFlags, Where>(kind);
    case 11:
      return data_with<Alu::sbc, SetFlags, Where>(kind);
    case 13:
      return data_with<Alu::sub, SetFlags, Where>(kind);
    case 14:
      return data_with<Alu::rsb, SetFlags, Where>(kind);
    default:
      return nullptr;
  }
}
template <bool SetFlags>
Handler move(Word operation, Operand kind) {
  return operation == 2 ? data_with<Alu::mov, SetFlags>(kind) : data_with<Alu::mvn, SetFlags>(kind);
}

/// The operand stands in op already. Rules on SP and PC: A7.7, each instruction's own page.
Decoded arithmetic(const Encoding& e, Operand kind, Op& op) {
  const Word operation = e.field(24, 21), n = e.field(19, 16), d = e.field(11, 8);
  const bool set_flags = e.bit(20), is_register = kind != Operand::immediate;
  op.n = reg(n);
  op.d = reg(d);
  if (is_register && is_sp_or_pc(op.m) &&
      !(op.m == 13 && operation == 2 && n == 15 && kind == Operand::plain && !set_flags))
    return Decoded::unpredictable;
  const bool tests = d == 15 && set_flags &&
                     (operation == 0 || operation == 4 || operation == 8 || operation == 13);
  if (tests) {
    if (n == 15 || (n == 13 && operation < 8)) return Decoded::unpredictable;
    const Handler h = select<true, Keep::flags_only>(operation, kind);
    return h ? executes(op, h) : Decoded::undefined;
  }
  const bool moves = n == 15 && (operation == 2 || operation == 3);
  const bool adds = operation == 8 || operation == 13;
  if (d == 15) return Decoded::unpredictable;
  if (moves) {
    // MOV (register) may move to or from SP, not both, and not with flags.
    if (d == 13) {
      if (operation != 2 || kind != Operand::plain || set_flags || op.m == 13)
        return Decoded::unpredictable;
      return executes(op, data<Alu::mov, Operand::plain, false, Keep::stack_pointer>);
    }
    return executes(op, set_flags ? move<true>(operation, kind) : move<false>(operation, kind));
  }
  if (n == 15) return Decoded::unpredictable;
  if (adds && n == 13) {
    if (d == 13) {
      if (is_register && kind != Operand::plain && !(kind == Operand::lsl && op.shift <= 3))
        return Decoded::unpredictable;
      const Handler h = set_flags ? select<true, Keep::stack_pointer>(operation, kind)
                                  : select<false, Keep::stack_pointer>(operation, kind);
      return executes(op, h);
    }
  } else if (d == 13 || n == 13) {
    return Decoded::unpredictable;
  }
  const Handler h = set_flags ? select<true, Keep::result>(operation, kind)
                              : select<false, Keep::result>(operation, kind);
  return h ? executes(op, h) : Decoded::undefined;
}

Decoded pack(const Encoding& e, Op& op) {
  if (e.bit(20) || e.bit(4)) return Decoded::undefined;
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(11, 8));
  op.a = e.bit(5);
  if (is_sp_or_pc(op.d) || is_sp_or_pc(op.n) || is_sp_or_pc(op.m)) return Decoded::unpredictable;
  const Word amount = e.field(14, 12) << 2 | e.field(7, 6);
  op.shift = reg(op.a && amount == 0 ? 31 : amount);  // ASR #32 keeps the sign only, as 31 does
  return executes(op, compute<pack_halves>);
}

Decoded shifted_register(const Encoding& e, Op& op) {
  op.m = reg(e.field(3, 0));
  if (e.bit(15)) return Decoded::unpredictable;
  if (e.field(24, 21) == 6) return pack(e, op);
  const Operand kind = shift_kind(e.field(5, 4), e.field(14, 12) << 2 | e.field(7, 6), op);
  return arithmetic(e, kind, op);
}

/// ThumbExpandImm_C (A5.3.2).
Decoded modified_immediate(const Encoding& e, Op& op) {
  const Word imm12 = Word{e.bit(26)} << 11 | e.field(14, 12) << 8 | e.field(7, 0);
  const Word byte = imm12 & 0xff;
  op.carry = keep_carry;
  if (imm12 >> 10 == 0) {
    if (imm12 >> 8 != 0 && byte == 0) return Decoded::unpredictable;
    constexpr Word copies[] = {1, 0x00010001, 0x01000100, 0x01010101};
    op.imm = byte * copies[imm12 >> 8];
  } else {
    op.imm = std::rotr(0x80 | (byte & 0x7f), static_cast<int>(imm12 >> 7));
    op.carry = reg(op.imm >> 31);
  }
  return arithmetic(e, Operand::immediate, op);
}

// --- plain binary immediate (A5.3.3) ----------------------------------------------------------
Word plain_immediate(const Encoding& e) {
  return Word{e.bit(26)} << 11 | e.field(14, 12) << 8 | e.field(7, 0);
}

template <bool Subtract>
Decoded add_wide(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(11, 8));
  op.imm = plain_immediate(e);
  if (op.d == 15) return Decoded::unpredictable;
  if (op.n == 15) {  // ADR
    if (op.d == 13) return Decoded::unpredictable;
    op.imm = Subtract ? e.aligned_pc() - op.imm : e.aligned_pc() + op.imm;
    return executes(op, data<Alu::mov, Operand::immediate, false>);
  }
  if (op.d == 13) {
    if (op.n != 13) return Decoded::unpredictable;
    return executes(op, data < Subtract ? Alu::sub : Alu::add, Operand::immediate, false,
                    Keep::stack_pointer >);
  }
  return executes(op, data < Subtract ? Alu::sub : Alu::add, Operand::immediate, false >);
}

template <bool Top>
Decoded move_wide(const Encoding& e, Op& op) {
  op.d = reg(e.field(11, 8));
  op.imm = e.field(19, 16) << 12 | plain_immediate(e);
  if (is_sp_or_pc(op.d)) return Decoded::unpredictable;
  return Top ? executes(op, compute<move_top>)
             : executes(op, data<Alu::mov, Operand::immediate, false>);
}

template <bool Sign, bool Two>
Decoded saturate(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(11, 8));
  if (is_sp_or_pc(op.d) || is_sp_or_pc(op.n) || e.bit(26)) return Decoded::unpredictable;
  if (e.bit(5) || (Two && e.bit(4))) return Decoded::unpredictable;
  op.imm = e.field(4, 0) + (Sign ? 1 : 0);
  op.a = e.bit(21);
  op.shift = reg(e.field(14, 12) << 2 | e.field(7, 6));
  return executes(op, Two ? compute<saturate_two<Sign>> : compute<saturate_one<Sign>>);
}
/// The two halves have the place of a right shift by none.
template <bool Sign>
Decoded saturate_any(const Encoding& e, Op& op) {
  const bool two = e.bit(21) && (e.bits & 0x70c0) == 0;
  return two ? saturate<Sign, true>(e, op) : saturate<Sign, false>(e, op);
}

Decoded insert(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(11, 8));
  const Word low_bit = e.field(14, 12) << 2 | e.field(7, 6), high_bit = e.field(4, 0);
  if (is_sp_or_pc(op.d) || op.n == 13 || high_bit < low_bit || e.bit(26) || e.bit(5))
    return Decoded::unpredictable;
  op.imm = low_bit;
  op.shift = reg(high_bit - low_bit + 1);
  return executes(op, compute<insert_field>);
}

template <bool Sign>
Decoded extract(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.d = reg(e.field(11, 8));
  op.imm = e.field(14, 12) << 2 | e.field(7, 6);
  op.shift = reg(e.field(4, 0) + 1);
  if (is_sp_or_pc(op.d) || is_sp_or_pc(op.n) || op.imm + op.shift > 32 || e.bit(26) || e.bit(5))
    return Decoded::unpredictable;
  return executes(op, compute < Sign ? signed_field : unsigned_field >);
}

constexpr Row rows[] = {
    {0xfe000000, 0xea000000, shifted_register},
    {0xfa008000, 0xf0000000, modified_immediate},
    {0xfbf08000, 0xf2000000, add_wide<false>},
    {0xfbf08000, 0xf2a00000, add_wide<true>},
    {0xfbf08000, 0xf2400000, move_wide<false>},
    {0xfbf08000, 0xf2c00000, move_wide<true>},
    {0xfbd08000, 0xf3000000, saturate_any<true>},
    {0xfbf08000, 0xf3400000, extract<true>},
    {0xfbf08000, 0xf3600000, insert},
    {0xfbd08000, 0xf3800000, saturate_any<false>},
    {0xfbf08000, 0xf3c00000, extract<false>},
};

}  // namespace

Decoded decode_data(const Encoding& e, Op& op) { return look_up(rows, e, op); }

}  // namespace stillrotor::io::cortexm
