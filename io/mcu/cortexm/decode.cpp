#include "io/mcu/cortexm/decode.hpp"

#include "io/mcu/cortexm/cpu.hpp"

namespace stillrotor::io::cortexm {
namespace {

const Op* undefined_here(Cpu& c, const Op* op) { return c.raise(Trap::undefined, 0, op); }

/// A coprocessor that the part does not have (A5.3.18, B3.2.20).
const Op* no_coprocessor(Cpu& c, const Op* op) { return c.usage_fault(usage::no_coprocessor, op); }

Decoded decode_32(const Encoding& e, Op& op) {
  const Word op1 = e.field(28, 27), op2 = e.field(26, 20);
  if ((op2 & 0x40) && op1 != 2) {
    const Word coprocessor = e.field(11, 8);
    if ((op2 & 0x30) == 0x30 || coprocessor == 10 || coprocessor == 11) return decode_float(e, op);
    return executes(op, no_coprocessor);
  }
  switch (op1) {
    case 1:
      return (op2 & 0x60) == 0x20 ? decode_data(e, op) : decode_memory(e, op);
    case 2:
      return e.bit(15) ? decode_control(e, op) : decode_data(e, op);
    default:
      return (op2 & 0x60) == 0x20 ? decode_register(e, op) : decode_memory(e, op);
  }
}

}  // namespace

const Op* unpredictable_here(Cpu& c, const Op* op) { return c.raise(Trap::unpredictable, 0, op); }

void decode_instruction(Word bits, bool wide, Word address, Op& op) {
  const Encoding e{bits, address};
  switch (wide ? decode_32(e, op) : decode_16(e, op)) {
    case Decoded::done:
      return;
    case Decoded::undefined:
      executes(op, undefined_here);
      return;
    case Decoded::unpredictable:
      executes(op, unpredictable_here);
      return;
  }
}

}  // namespace stillrotor::io::cortexm
