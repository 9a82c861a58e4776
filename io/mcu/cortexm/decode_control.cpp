// 32-bit branches and miscellaneous control (A5.3.4).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_control.hpp"
#include "io/mcu/cortexm/execute_data.hpp"
#include "io/mcu/cortexm/execute_memory.hpp"

namespace stillrotor::io::cortexm {

/// The sixteen conditions' branches; nullptr: always, or none.
Handler conditional_branch(Word condition) noexcept {
  constexpr Handler handlers[] = {branch_if<0>,  branch_if<1>, branch_if<2>,  branch_if<3>,
                                  branch_if<4>,  branch_if<5>, branch_if<6>,  branch_if<7>,
                                  branch_if<8>,  branch_if<9>, branch_if<10>, branch_if<11>,
                                  branch_if<12>, branch_if<13>};
  return condition < std::size(handlers) ? handlers[condition] : nullptr;
}

Decoded branch_to(const Encoding& e, Word offset, Op& op) {
  op.imm = e.pc() + offset;
  if (op.imm == e.address)  // no hop: the target is the instruction itself
    return executes(op, branch_to_itself, ends_block<branch_to_itself>);
  return executes(op, branch_always, ends_block<branch_always>);
}

namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

Decoded conditional(const Encoding& e, Op& op) {
  const Handler h = conditional_branch(e.field(25, 22));
  if (h == nullptr) return Decoded::undefined;
  op.imm =
      e.pc() + sign_extended(Word{e.bit(26)} << 20 | Word{e.bit(11)} << 19 | Word{e.bit(13)} << 18 |
                                 e.field(21, 16) << 12 | e.field(10, 0) << 1,
                             21);
  return executes(op, h, unpredictable_here);
}

Word far_offset(const Encoding& e) {
  const Word s = e.bit(26), i1 = !(e.bit(13) ^ e.bit(26)), i2 = !(e.bit(11) ^ e.bit(26));
  return sign_extended(s << 24 | i1 << 23 | i2 << 22 | e.field(25, 16) << 12 | e.field(10, 0) << 1,
                       25);
}
Decoded far(const Encoding& e, Op& op) { return branch_to(e, far_offset(e), op); }
Decoded link(const Encoding& e, Op& op) {
  op.imm = e.pc() + far_offset(e);
  return executes(op, branch_with_link, ends_block<branch_with_link>);
}

constexpr bool is_special(Word which) noexcept {
  return which <= 9 ? which != 4 : which >= 16 && which <= 20;
}
Decoded to_special(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.a = reg(e.field(11, 10));
  op.imm = e.field(7, 0);
  if (is_sp_or_pc(op.n) || op.a == 0 || (op.a != 2 && op.imm > 3) || !is_special(op.imm) ||
      e.bit(20) || e.bit(13) || e.field(9, 8) != 0)
    return Decoded::unpredictable;
  return executes(op, write_special);
}
Decoded from_special(const Encoding& e, Op& op) {
  op.d = reg(e.field(11, 8));
  op.imm = e.field(7, 0);
  if (is_sp_or_pc(op.d) || !is_special(op.imm) || e.bit(20) || e.bit(13) || e.field(19, 16) != 15)
    return Decoded::unpredictable;
  return executes(op, read_special);
}

Decoded hint(const Encoding& e, Op& op) {
  if (e.field(19, 16) != 15 || e.bit(13) || e.bit(11)) return Decoded::unpredictable;
  return hint_number(e.field(7, 0), op);
}

Decoded barrier(const Encoding& e, Op& op) {
  if (e.field(19, 16) != 15 || e.bit(13) || e.field(11, 8) != 15) return Decoded::unpredictable;
  switch (e.field(7, 4)) {
    case 2:
      return executes(op, clear_exclusive);
    case 4:  // DSB, DMB, ISB: everything is in order always
    case 5:
    case 6:
      return executes(op, no_operation);
    default:
      return Decoded::undefined;
  }
}

Decoded undefined_for_ever(const Encoding&, Op& op) { return executes(op, permanently_undefined); }

constexpr Row rows[] = {
    {0xf800d000, 0xf000d000, link},
    {0xf800d000, 0xf0009000, far},
    {0xffe0d000, 0xf3808000, to_special},
    {0xfff0d700, 0xf3a08000, hint},
    {0xfff0d000, 0xf3b08000, barrier},
    {0xffe0d000, 0xf3e08000, from_special},
    {0xfff0f000, 0xf7f0a000, undefined_for_ever},
    {0xf800d000, 0xf0008000, conditional},
};

}  // namespace

Decoded hint_number(Word number, Op& op) {
  switch (number) {
    case 2:
      return executes(op, wait_for<Trap::wait_for_event>);
    case 3:
      return executes(op, wait_for<Trap::wait_for_interrupt>);
    case 4:
      return executes(op, send_event);
    default:
      return executes(op, no_operation);  // NOP, YIELD, DBG; others behave as NOP (A5.2.5)
  }
}

Decoded decode_control(const Encoding& e, Op& op) { return look_up(rows, e, op); }

}  // namespace stillrotor::io::cortexm
