// 16-bit instructions (A5.2).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_control.hpp"
#include "io/mcu/cortexm/execute_data.hpp"
#include "io/mcu/cortexm/execute_memory.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

/// Sets the flags outside of an IT block only.
template <Alu F, Operand K>
Decoded flags_outside(Op& op) {
  return executes(op, data<F, K, true>, data<F, K, false>);
}

Decoded shift_immediate(const Encoding& e, Op& op) {
  op.d = reg(e.field(2, 0));
  op.m = reg(e.field(5, 3));
  switch (shift_kind(e.field(12, 11), e.field(10, 6), op)) {
    case Operand::plain:  // MOVS: not in an IT block (A7.7.77)
      return executes(op, data<Alu::mov, Operand::plain, true>, unpredictable_here);
    case Operand::lsl:
      return flags_outside<Alu::mov, Operand::lsl>(op);
    case Operand::lsr:
      return flags_outside<Alu::mov, Operand::lsr>(op);
    default:
      return flags_outside<Alu::mov, Operand::asr>(op);
  }
}

template <Alu F, Operand K>
Decoded add_three(const Encoding& e, Op& op) {
  op.d = reg(e.field(2, 0));
  op.n = reg(e.field(5, 3));
  op.m = reg(e.field(8, 6));
  op.imm = op.m;
  return flags_outside<F, K>(op);
}

template <Alu F>
Decoded immediate_8(const Encoding& e, Op& op) {
  op.d = op.n = reg(e.field(10, 8));
  op.imm = e.field(7, 0);
  op.carry = keep_carry;
  return flags_outside<F, Operand::immediate>(op);
}
Decoded compare_8(const Encoding& e, Op& op) {
  op.n = reg(e.field(10, 8));
  op.imm = e.field(7, 0);
  return executes(op, data<Alu::sub, Operand::immediate, true, Keep::flags_only>);
}

Decoded two_low(const Encoding& e, Op& op) {
  op.d = op.n = reg(e.field(2, 0));
  op.m = reg(e.field(5, 3));
  constexpr Operand plain = Operand::plain;
  switch (e.field(9, 6)) {
    case 0:
      return flags_outside<Alu::and_, plain>(op);
    case 1:
      return flags_outside<Alu::eor, plain>(op);
    case 2:
      return executes(op, shift_by_register<Operand::lsl, true>,
                      shift_by_register<Operand::lsl, false>);
    case 3:
      return executes(op, shift_by_register<Operand::lsr, true>,
                      shift_by_register<Operand::lsr, false>);
    case 4:
      return executes(op, shift_by_register<Operand::asr, true>,
                      shift_by_register<Operand::asr, false>);
    case 5:
      return flags_outside<Alu::adc, plain>(op);
    case 6:
      return flags_outside<Alu::sbc, plain>(op);
    case 7:
      return executes(op, shift_by_register<Operand::ror, true>,
                      shift_by_register<Operand::ror, false>);
    case 8:
      return executes(op, data<Alu::and_, plain, true, Keep::flags_only>);
    case 9:  // RSB #0
      op.n = op.m;
      op.imm = 0;
      return flags_outside<Alu::rsb, Operand::immediate>(op);
    case 10:
      return executes(op, data<Alu::sub, plain, true, Keep::flags_only>);
    case 11:
      return executes(op, data<Alu::add, plain, true, Keep::flags_only>);
    case 12:
      return flags_outside<Alu::orr, plain>(op);
    case 13:
      return executes(op, multiply_flags, compute<multiply>);
    case 14:
      return flags_outside<Alu::bic, plain>(op);
    default:
      return flags_outside<Alu::mvn, plain>(op);
  }
}

// --- high registers: PC as an operand is a number ---------------------------------------------
/// ADD PC, Rm and MOV PC, Rm branch (BranchWritePC); PC in imm.
const Op* add_to_pc(Cpu& c, const Op* op) { return c.branch(op->imm + c.r[op->m]); }

Decoded add_high(const Encoding& e, Op& op) {
  op.d = op.n = reg(Word{e.bit(7)} << 3 | e.field(2, 0));
  op.m = reg(e.field(6, 3));
  if (op.d == 15) {
    if (op.m == 15) return Decoded::unpredictable;
    op.imm = e.pc();
    return executes(op, add_to_pc, ends_block<add_to_pc>);
  }
  if (op.m == 15) {
    op.imm = e.pc();
    return executes(op, op.d == 13 ? data<Alu::add, Operand::immediate, false, Keep::stack_pointer>
                                   : data<Alu::add, Operand::immediate, false>);
  }
  return executes(op, op.d == 13 ? data<Alu::add, Operand::plain, false, Keep::stack_pointer>
                                 : data<Alu::add, Operand::plain, false>);
}
Decoded compare_high(const Encoding& e, Op& op) {
  op.n = reg(Word{e.bit(7)} << 3 | e.field(2, 0));
  op.m = reg(e.field(6, 3));
  if ((op.n < 8 && op.m < 8) || op.n == 15 || op.m == 15) return Decoded::unpredictable;
  return executes(op, data<Alu::sub, Operand::plain, true, Keep::flags_only>);
}
Decoded move_high(const Encoding& e, Op& op) {
  op.d = reg(Word{e.bit(7)} << 3 | e.field(2, 0));
  op.m = reg(e.field(6, 3));
  if (op.d == 15) {
    op.imm = op.m == 15 ? e.pc() : 0;  // r[15] is 0
    return executes(op, add_to_pc, ends_block<add_to_pc>);
  }
  if (op.m == 15) {
    op.imm = e.pc();
    return executes(op, op.d == 13 ? data<Alu::mov, Operand::immediate, false, Keep::stack_pointer>
                                   : data<Alu::mov, Operand::immediate, false>);
  }
  return executes(op, op.d == 13 ? data<Alu::mov, Operand::plain, false, Keep::stack_pointer>
                                 : data<Alu::mov, Operand::plain, false>);
}
Decoded exchange(const Encoding& e, Op& op) {
  op.m = reg(e.field(6, 3));
  op.imm = (e.address + 2) | 1;
  if (op.m == 15 || e.field(2, 0) != 0) return Decoded::unpredictable;
  if (!e.bit(7)) return executes(op, branch_to_register, ends_block<branch_to_register>);
  return executes(op, branch_to_register_with_link, ends_block<branch_to_register_with_link>);
}

// --- loads and stores -------------------------------------------------------------------------
Decoded load_literal(const Encoding& e, Op& op) {
  op.d = reg(e.field(10, 8));
  op.n = 15;
  op.imm = e.aligned_pc() + 4 * e.field(7, 0);
  return executes(op, load_register<Word, Index::offset>);
}
Decoded by_register(const Encoding& e, Op& op) {
  constexpr Index I = Index::register_offset;
  op.d = reg(e.field(2, 0));
  op.n = reg(e.field(5, 3));
  op.m = reg(e.field(8, 6));
  constexpr Handler handlers[] = {store_register<Word, I>,         store_register<std::uint16_t, I>,
                                  store_register<std::uint8_t, I>, load_register<std::int8_t, I>,
                                  load_register<Word, I>,          load_register<std::uint16_t, I>,
                                  load_register<std::uint8_t, I>,  load_register<std::int16_t, I>};
  return executes(op, handlers[e.field(11, 9)]);
}
template <class T, bool Load>
Decoded by_offset(const Encoding& e, Op& op) {
  op.d = reg(e.field(2, 0));
  op.n = reg(e.field(5, 3));
  op.imm = static_cast<Word>(sizeof(T)) * e.field(10, 6);
  return executes(op, Load ? load_register<T, Index::offset> : store_register<T, Index::offset>);
}
template <bool Load>
Decoded on_stack(const Encoding& e, Op& op) {
  op.d = reg(e.field(10, 8));
  op.n = 13;
  op.imm = 4 * e.field(7, 0);
  return executes(op,
                  Load ? load_register<Word, Index::offset> : store_register<Word, Index::offset>);
}
Decoded multiple(const Encoding& e, Op& op) {
  op.n = reg(e.field(10, 8));
  op.imm = e.field(7, 0);
  op.m = reg(static_cast<Word>(std::popcount(op.imm)));
  if (op.imm == 0) return Decoded::unpredictable;
  const bool load = e.bit(11);
  op.a = !load || !(op.imm >> op.n & 1);
  return executes(op, load ? load_multiple<false> : store_multiple<false>);
}
Decoded push(const Encoding& e, Op& op) {
  op.n = 13;
  op.a = 1;
  op.imm = Word{e.bit(8)} << 14 | e.field(7, 0);
  op.m = reg(static_cast<Word>(std::popcount(op.imm)));
  return op.imm == 0 ? Decoded::unpredictable : executes(op, store_multiple<true>);
}
Decoded pop(const Encoding& e, Op& op) {
  op.n = 13;
  op.a = 1;
  op.imm = Word{e.bit(8)} << 15 | e.field(7, 0);
  op.m = reg(static_cast<Word>(std::popcount(op.imm)));
  if (op.imm == 0) return Decoded::unpredictable;
  if (e.bit(8)) return executes(op, load_multiple<false>, ends_block<load_multiple<false>>);
  return executes(op, load_multiple<false>);
}

// --- addresses, miscellaneous -----------------------------------------------------------------
Decoded address_from_pc(const Encoding& e, Op& op) {
  op.d = reg(e.field(10, 8));
  op.imm = e.aligned_pc() + 4 * e.field(7, 0);
  return executes(op, data<Alu::mov, Operand::immediate, false>);
}
Decoded address_from_sp(const Encoding& e, Op& op) {
  op.d = reg(e.field(10, 8));
  op.n = 13;
  op.imm = 4 * e.field(7, 0);
  return executes(op, data<Alu::add, Operand::immediate, false>);
}
Decoded adjust_sp(const Encoding& e, Op& op) {
  op.n = 13;
  op.imm = 4 * e.field(6, 0);
  return executes(op, e.bit(7) ? data<Alu::sub, Operand::immediate, false, Keep::stack_pointer>
                               : data<Alu::add, Operand::immediate, false, Keep::stack_pointer>);
}
template <Handler H>
Decoded one_low(const Encoding& e, Op& op) {
  op.d = reg(e.field(2, 0));
  op.m = reg(e.field(5, 3));
  op.n = 15;  // nothing is added
  return executes(op, H);
}
Decoded compare_branch(const Encoding& e, Op& op) {
  op.n = reg(e.field(2, 0));
  op.imm = e.pc() + (Word{e.bit(9)} << 6 | e.field(7, 3) << 1);
  return executes(op, e.bit(11) ? compare_and_branch<true> : compare_and_branch<false>,
                  unpredictable_here);
}
Decoded processor_state(const Encoding& e, Op& op) {
  op.a = e.bit(4);
  op.imm = e.field(1, 0);
  if (op.imm == 0 || e.field(3, 2) != 0) return Decoded::unpredictable;
  return executes(op, change_processor_state, unpredictable_here);
}
Decoded stop_here(const Encoding&, Op& op) { return executes(op, breakpoint); }
Decoded it_or_hint(const Encoding& e, Op& op) {
  const Word mask = e.field(3, 0), condition = e.field(7, 4);
  if (mask == 0) return hint_number(condition, op);
  if (condition == 15 || (condition == 14 && std::popcount(mask) != 1))
    return Decoded::unpredictable;
  op.imm = e.field(7, 0);
  return executes(op, if_then, unpredictable_here);
}

Decoded conditional(const Encoding& e, Op& op) {
  const Word condition = e.field(11, 8);
  if (condition == 14) return executes(op, permanently_undefined);
  if (condition == 15) return executes(op, supervisor_call);
  op.imm = e.pc() + sign_extended(e.field(7, 0) << 1, 9);
  return executes(op, conditional_branch(condition), unpredictable_here);
}
Decoded unconditional(const Encoding& e, Op& op) {
  return branch_to(e, sign_extended(e.field(10, 0) << 1, 12), op);
}

constexpr Row rows[] = {
    {0xfe00, 0x1800, add_three<Alu::add, Operand::plain>},
    {0xfe00, 0x1a00, add_three<Alu::sub, Operand::plain>},
    {0xfe00, 0x1c00, add_three<Alu::add, Operand::immediate>},
    {0xfe00, 0x1e00, add_three<Alu::sub, Operand::immediate>},
    {0xe000, 0x0000, shift_immediate},
    {0xf800, 0x2000, immediate_8<Alu::mov>},
    {0xf800, 0x2800, compare_8},
    {0xf800, 0x3000, immediate_8<Alu::add>},
    {0xf800, 0x3800, immediate_8<Alu::sub>},
    {0xfc00, 0x4000, two_low},
    {0xff00, 0x4400, add_high},
    {0xff00, 0x4500, compare_high},
    {0xff00, 0x4600, move_high},
    {0xff00, 0x4700, exchange},
    {0xf800, 0x4800, load_literal},
    {0xf000, 0x5000, by_register},
    {0xf800, 0x6000, by_offset<Word, false>},
    {0xf800, 0x6800, by_offset<Word, true>},
    {0xf800, 0x7000, by_offset<std::uint8_t, false>},
    {0xf800, 0x7800, by_offset<std::uint8_t, true>},
    {0xf800, 0x8000, by_offset<std::uint16_t, false>},
    {0xf800, 0x8800, by_offset<std::uint16_t, true>},
    {0xf800, 0x9000, on_stack<false>},
    {0xf800, 0x9800, on_stack<true>},
    {0xf800, 0xa000, address_from_pc},
    {0xf800, 0xa800, address_from_sp},
    {0xff00, 0xb000, adjust_sp},
    {0xf500, 0xb100, compare_branch},
    {0xffc0, 0xb200, one_low<compute<extend_add<16, true>>>},
    {0xffc0, 0xb240, one_low<compute<extend_add<8, true>>>},
    {0xffc0, 0xb280, one_low<compute<extend_add<16, false>>>},
    {0xffc0, 0xb2c0, one_low<compute<extend_add<8, false>>>},
    {0xfe00, 0xb400, push},
    {0xffe0, 0xb660, processor_state},
    {0xffc0, 0xba00, one_low<compute<reversed_bytes>>},
    {0xffc0, 0xba40, one_low<compute<reversed_halves>>},
    {0xffc0, 0xbac0, one_low<compute<reversed_signed_half>>},
    {0xfe00, 0xbc00, pop},
    {0xff00, 0xbe00, stop_here},
    {0xff00, 0xbf00, it_or_hint},
    {0xf000, 0xc000, multiple},
    {0xf000, 0xd000, conditional},
    {0xf800, 0xe000, unconditional},
};

}  // namespace

Decoded decode_16(const Encoding& e, Op& op) { return look_up(rows, e, op); }

}  // namespace stillrotor::io::cortexm
