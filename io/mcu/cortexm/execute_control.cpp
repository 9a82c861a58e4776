#include "io/mcu/cortexm/execute_control.hpp"

#include "io/mcu/cortexm/exceptions.hpp"

namespace stillrotor::io::cortexm {
namespace {

/// A mask that closes everything may not be set from within NMI, HardFault or itself.
void set_faultmask(Cpu& c, bool on) noexcept {
  if (!on || c.execution_priority() > priority::hard_fault) c.faultmask = on;
}

}  // namespace

const Op* change_processor_state(Cpu& c, const Op* op) {
  if (!c.privileged()) return next(op);
  if (op->imm & 2) c.primask = op->a;
  if (op->imm & 1) set_faultmask(c, op->a);
  c.attend();
  return next(op);
}

const Op* read_special(Cpu& c, const Op* op) {
  const Word which = op->imm;
  Word value = 0;
  if (which < 8) {  // EPSR reads as zero
    if (which & 1) value |= c.ipsr;
    if (!(which & 4)) value |= c.apsr();
  } else if (c.privileged() || which == 20) {
    switch (which) {
      case 8:
        value = c.main_sp();
        break;
      case 9:
        value = c.process_sp();
        break;
      case 16:
        value = c.primask;
        break;
      case 17:
      case 18:
        value = c.basepri;
        break;
      case 19:
        value = c.faultmask;
        break;
      default:
        value = c.control();
    }
  }
  c.r[op->d] = value;
  return next(op);
}

const Op* write_special(Cpu& c, const Op* op) {
  const Word which = op->imm, value = c.r[op->n];
  if (which < 8) {
    if (!(which & 4)) {
      if (op->a & 2) {
        c.set_nzcv(value);
        c.saturated = value >> 27 & 1;
      }
      if (op->a & 1) c.ge = value >> 16 & 0xf;
    }
    return next(op);
  }
  if (!c.privileged()) return next(op);
  switch (which) {
    case 8:
      c.set_main_sp(value);
      break;
    case 9:
      c.set_process_sp(value);
      break;
    case 16:
      c.primask = value & 1;
      break;
    case 17:
      c.basepri = value & priority::implemented;
      break;
    case 18: {
      const Word asked = value & priority::implemented;
      if (asked != 0 && (asked < c.basepri || c.basepri == 0)) c.basepri = asked;
      break;
    }
    case 19:
      set_faultmask(c, value & 1);
      break;
    default:
      c.set_control(value);
  }
  c.attend();
  return next(op);
}

}  // namespace stillrotor::io::cortexm
