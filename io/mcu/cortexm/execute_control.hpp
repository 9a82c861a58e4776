// Branches, special registers, hints, calls of the supervisor.
//
// Source ARM DDI 0403E: A7.7 instructions, B5.2 system instructions.
#pragma once

#include "io/mcu/cortexm/cpu.hpp"

namespace stillrotor::io::cortexm {

inline const Op* jump(Cpu& c, const Op* op) noexcept {
  return op->hop != 0 ? c.hop(op) : c.branch(op->imm);
}

/// What may end an IT block but not stand before its end (A7.3.2).
template <Handler H>
const Op* ends_block(Cpu& c, const Op* op) {
  return c.it == 0 ? H(c, op) : c.raise(Trap::unpredictable, 0, op);
}

template <unsigned Condition>
const Op* branch_if(Cpu& c, const Op* op) {
  return c.holds<Condition>() ? jump(c, op) : next(op);
}
inline const Op* branch_always(Cpu& c, const Op* op) { return jump(c, op); }
/// A branch to itself waits for an interrupt: the rounds up to the end of the stretch are counted,
/// not run.
inline const Op* branch_to_itself(Cpu& c, const Op* op) {
  const Cycle before = c.cycle - 1;
  c.hop(op);
  const Cycle round = c.cycle - before;
  if (c.cycle < c.stop) c.cycle += (c.stop - c.cycle + round - 1) / round * round;
  return op;
}
template <bool NotZero>
const Op* compare_and_branch(Cpu& c, const Op* op) {
  return (c.r[op->n] != 0) == NotZero ? jump(c, op) : next(op);
}
/// BL: 32 bits; bit 0 of LR is the state.
[[gnu::cold, gnu::noinline]] inline const Op* branch_with_link_elsewhere(Cpu& c, const Op* op) {
  c.r[14] = (c.address_of(op) + 4) | 1;
  return c.branch(op->imm);
}
inline const Op* branch_with_link(Cpu& c, const Op* op) {
  if (op->hop == 0) return branch_with_link_elsewhere(c, op);
  c.r[14] = (op->imm - static_cast<Word>(2 * op->hop) + 4) | 1;
  return c.hop(op);
}
inline const Op* branch_to_register(Cpu& c, const Op* op) {
  return c.branch_exchange(c.r[op->m], op);
}
/// BLX: LR is in imm. Never the end of an exception (A7.7.19, BLXWritePC).
inline const Op* branch_to_register_with_link(Cpu& c, const Op* op) {
  const Word target = c.r[op->m];
  c.r[14] = op->imm;
  c.thumb = target & 1;
  return c.branch(target);
}

inline const Op* no_operation(Cpu&, const Op* op) { return next(op); }
inline const Op* send_event(Cpu& c, const Op* op) {
  c.event = true;
  return next(op);
}
template <Trap What>
const Op* wait_for(Cpu& c, const Op* op) {
  return c.raise(What, 0, next(op));
}
/// SVC goes on behind itself, a breakpoint does not.
inline const Op* supervisor_call(Cpu& c, const Op* op) {
  return c.raise(Trap::supervisor_call, 0, next(op));
}
inline const Op* breakpoint(Cpu& c, const Op* op) { return c.raise(Trap::breakpoint, 0, op); }
/// UDF, permanently undefined: compilers end a program by it, so the part's fault is taken.
inline const Op* permanently_undefined(Cpu& c, const Op* op) {
  return c.usage_fault(usage::undefined, op);
}

/// IT: the state in imm, and the block at once.
inline const Op* if_then(Cpu& c, const Op* op) {
  c.it = static_cast<std::uint8_t>(op->imm);
  return run_it_block(c, op + 1);
}

/// CPS: imm bit 0 FAULTMASK, bit 1 PRIMASK; a: the new value.
const Op* change_processor_state(Cpu&, const Op*);
/// SYSm in imm; MSR's mask in a.
const Op* read_special(Cpu&, const Op*);
const Op* write_special(Cpu&, const Op*);

}  // namespace stillrotor::io::cortexm
