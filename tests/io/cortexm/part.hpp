// A core with a vector table, and code that tests write halfword by halfword.
#pragma once

#include <cstring>
#include <initializer_list>

#include "io/mcu/cortexm/core.hpp"

namespace stillrotor::io::cortexm {

namespace opcode {
inline constexpr std::uint16_t nop = 0xbf00, bx_lr = 0x4770, wfi = 0xbf30, wfe = 0xbf20,
                               sev = 0xbf40, svc = 0xdf00, udf = 0xde00, bkpt = 0xbe00,
                               cpsid_i = 0xb672, cpsie_i = 0xb662, cpsid_f = 0xb671, stay = 0xe7fe,
                               vmov_s0_s1_high = 0xeeb0, vmov_s0_s1_low = 0x0a60;
}

struct Part {
  static constexpr Word top = 0x20004000, thread = 0x08000400, handlers = 0x08001000;
  static constexpr Word system_space = 0xE000E000;

  explicit Part(Timing timing = {},
                Memories memories = {0x08000000, 0x4000, 0x20000000, 0x4000, 0x10000000, 0x400})
      : core(memories, 82, timing) {
    for (Word i = 0; i < memories.flash_bytes; i += 2) put_half(0x08000000 + i, opcode::nop);
    put(0x08000000, top);
    put(0x08000004, thread | 1);
    for (unsigned n = 2; n < 98; ++n) {
      put(0x08000000 + 4 * n, handler(n) | 1);
      code(handler(n) + 8, {opcode::bx_lr});
    }
    core.power_on();
  }
  /// Four NOPs and a return; the start of exception n's.
  static constexpr Word handler(unsigned n) { return handlers + 16 * n; }
  static constexpr unsigned irq(unsigned n) { return exception::first_interrupt + n; }

  Cpu& cpu() { return core.cpu(); }
  Exceptions& exceptions() { return core.exceptions(); }
  Word pc() { return cpu().pc(); }

  void put_half(Word address, std::uint16_t value) {
    std::memcpy(core.bus().memory(address), &value, 2);
  }
  /// Tests change the memory under the core, so it forgets what it has decoded.
  void put(Word address, Word value) {
    std::memcpy(core.bus().memory(address), &value, 4);
    cpu().code.forget(address, 4);
  }
  Word get(Word address) {
    Word value = 0;
    std::memcpy(&value, core.bus().memory(address), 4);
    return value;
  }
  void code(Word address, std::initializer_list<int> halves) {
    for (const int half : halves) {
      put_half(address, static_cast<std::uint16_t>(half));
      cpu().code.forget(address, 2);
      address += 2;
    }
  }
  void write(Word offset, Word value) {  // of the system control space
    core.bus().write(system_space + offset, 4, value, core.now(), true);
  }
  Word read(Word offset) {
    Word value = 0;
    core.bus().read(system_space + offset, 4, value, core.now(), true);
    return value;
  }
  void enable(unsigned interrupt, unsigned priority) {
    exceptions().enable(irq(interrupt), true);
    exceptions().set_priority(irq(interrupt), priority);
  }
  void pend(unsigned interrupt) { exceptions().pend(irq(interrupt)); }
  /// One more instruction, or entry, or exit.
  void step() { core.run(core.now() + 1); }
  void steps(int count) {
    while (count-- > 0) step();
  }
  /// Until the handler of that exception begins; gives up after some thousand cycles.
  bool reach(Word address) {
    for (int i = 0; i < 5000 && core.can_go_on(); ++i) {
      if (pc() == address) return true;
      step();
    }
    return false;
  }
  bool enters(unsigned number) { return reach(handler(number)) && cpu().ipsr == number; }

  Core core;
};

}  // namespace stillrotor::io::cortexm
