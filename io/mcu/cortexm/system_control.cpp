#include "io/mcu/cortexm/system_control.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word {
  ICTR = 0x004,
  ACTLR = 0x008,
  SYST_CSR = 0x010,
  SYST_RVR = 0x014,
  SYST_CVR = 0x018,
  SYST_CALIB = 0x01c,
  ISER = 0x100,
  ICER = 0x180,
  ISPR = 0x200,
  ICPR = 0x280,
  IABR = 0x300,
  IPR = 0x400,
  IPR_end = 0x4f0,
  CPUID = 0xd00,
  ICSR = 0xd04,
  VTOR = 0xd08,
  AIRCR = 0xd0c,
  SCR = 0xd10,
  CCR = 0xd14,
  SHPR1 = 0xd18,
  SHPR3 = 0xd20,
  SHCSR = 0xd24,
  CFSR = 0xd28,
  HFSR = 0xd2c,
  DFSR = 0xd30,
  MMFAR = 0xd34,
  BFAR = 0xd38,
  CPACR = 0xd88,
  DEMCR = 0xdfc,
  STIR = 0xf00,
  FPCCR = 0xf34,
  FPCAR = 0xf38,
  FPDSCR = 0xf3c,
  MVFR0 = 0xf40,
  MVFR1 = 0xf44
};
// Feature registers from 0xd40 on: PFR0, PFR1, DFR0, AFR0, MMFR0 to 3, ISAR0 to 4.
constexpr Word features[] = {0x00000030, 0x00000200, 0x00100000, 0,          0x00100030,
                             0,          0x01000000, 0,          0x01101110, 0x02112000,
                             0x21232231, 0x01111131, 0x01310102};
constexpr Word features_at = 0xd40;
constexpr Word reset_key = 0x05fa0000, reset_key_read = 0xfa050000;

}  // namespace

SystemControl::SystemControl(Cpu& cpu, Exceptions& exceptions, Scheduler& scheduler,
                             unsigned systick_divider)
    : cpu_(cpu), exceptions_(exceptions), systick_(exceptions, scheduler, systick_divider) {}

void SystemControl::reset() noexcept {
  systick_.reset();
  group_ = scr_ = actlr_ = demcr_ = 0;
  ccr_ = 0x200;
  reset_requested_ = false;
}

/// One of the five blocks of 0x80 bytes: a bit for each interrupt.
Word SystemControl::read_interrupt_bits(Word offset) const noexcept {
  const unsigned first = 8 * (offset & 0x7f) + exception::first_interrupt;
  Word bits = 0;
  for (unsigned i = 0; i < 32 && first + i < exception::most; ++i) {
    const unsigned n = first + i;
    const bool set = offset < ISPR   ? exceptions_.is_enabled(n)
                     : offset < IABR ? exceptions_.is_pending(n)
                                     : exceptions_.is_active(n);
    bits |= Word{set} << i;
  }
  return bits;
}
void SystemControl::write_interrupt_bits(Word offset, Word bits) noexcept {
  const unsigned first = 8 * (offset & 0x7f) + exception::first_interrupt;
  for (unsigned i = 0; i < 32; ++i) {
    const unsigned n = first + i;
    if (!(bits >> i & 1) || n >= exception::first_interrupt + exceptions_.interrupts()) continue;
    if (offset < ICER)
      exceptions_.enable(n, true);
    else if (offset < ISPR)
      exceptions_.enable(n, false);
    else if (offset < ICPR)
      exceptions_.pend(n);
    else if (offset < IABR)
      exceptions_.unpend(n);
  }
}
Word SystemControl::read_priorities(unsigned first) const noexcept {
  Word value = 0;
  for (unsigned i = 0; i < 4 && first + i < exception::most; ++i)
    value |= Word{exceptions_.priority_byte(first + i)} << (8 * i);
  return value;
}
void SystemControl::write_priorities(unsigned first, Word value, Word mask) noexcept {
  for (unsigned i = 0; i < 4; ++i)
    if ((mask >> (8 * i) & 0xff) &&
        first + i < exception::first_interrupt + exceptions_.interrupts())
      exceptions_.set_priority(first + i, value >> (8 * i) & 0xff);
}

/// B3.2.4, ICSR.
Word SystemControl::interrupt_state() const noexcept {
  const unsigned active = cpu_.ipsr;
  bool interrupt_pending = false;
  for (unsigned n = exception::first_interrupt; n < exception::most; ++n)
    interrupt_pending |= exceptions_.is_pending(n);
  // Only the running one is active, or none: a return from it leads to thread mode.
  const bool to_base = exceptions_.active_count() <= 1;
  return active | Word{to_base} << 11 | exceptions_.highest_pending() << 12 |
         Word{interrupt_pending} << 22 |
         Word{exceptions_.is_pending(exception::system_tick)} << 26 |
         Word{exceptions_.is_pending(exception::pending_call)} << 28 |
         Word{exceptions_.is_pending(exception::nmi)} << 31;
}
void SystemControl::write_interrupt_state(Word value) noexcept {
  if (value >> 31) exceptions_.pend(exception::nmi);
  if (value >> 28 & 1) exceptions_.pend(exception::pending_call);
  if (value >> 27 & 1) exceptions_.unpend(exception::pending_call);
  if (value >> 26 & 1) exceptions_.pend(exception::system_tick);
  if (value >> 25 & 1) exceptions_.unpend(exception::system_tick);
}

/// B3.2.13, SHCSR: {bit, exception}.
struct StateBit {
  unsigned bit, number;
};
constexpr StateBit active_bits[] = {{0, exception::memory_fault},  {1, exception::bus_fault},
                                    {3, exception::usage_fault},   {7, exception::supervisor_call},
                                    {8, exception::debug_monitor}, {10, exception::pending_call},
                                    {11, exception::system_tick}};
constexpr StateBit pending_bits[] = {{12, exception::usage_fault},
                                     {13, exception::memory_fault},
                                     {14, exception::bus_fault},
                                     {15, exception::supervisor_call}};
Word SystemControl::handler_state() const noexcept {
  Word value = Word{exceptions_.memory_enabled} << 16 | Word{exceptions_.bus_enabled} << 17 |
               Word{exceptions_.usage_enabled} << 18;
  for (const auto& b : active_bits) value |= Word{exceptions_.is_active(b.number)} << b.bit;
  for (const auto& b : pending_bits) value |= Word{exceptions_.is_pending(b.number)} << b.bit;
  return value;
}
void SystemControl::write_handler_state(Word value) noexcept {
  exceptions_.memory_enabled = value >> 16 & 1;
  exceptions_.bus_enabled = value >> 17 & 1;
  exceptions_.usage_enabled = value >> 18 & 1;
  for (const auto& b : active_bits)
    if (exceptions_.is_active(b.number) != (value >> b.bit & 1))
      exceptions_.set_active(b.number, value >> b.bit & 1);
  for (const auto& b : pending_bits)
    value >> b.bit & 1 ? exceptions_.pend(b.number) : exceptions_.unpend(b.number);
}

/// B3.2.6, AIRCR: nothing without the key.
void SystemControl::write_reset_control(Word value) noexcept {
  if ((value & 0xffff0000) != reset_key) return;
  group_ = value >> 8 & 7;
  exceptions_.set_priority_group(group_);
  if (value & 4) {
    reset_requested_ = true;
    cpu_.attend();
  }
}
void SystemControl::write_configuration(Word value) noexcept {
  ccr_ = value & 0x31b;
  exceptions_.thread_from_any = value & 1;
  cpu_.trap_unaligned = value & 8;
  cpu_.trap_divide_by_zero = value & 0x10;
  exceptions_.align_stack = value & 0x200;
}

Word SystemControl::read(Word offset, Cycle at) noexcept {
  if (offset >= ISER && offset < IPR) return read_interrupt_bits(offset);
  if (offset >= IPR && offset < IPR_end)
    return read_priorities(offset - IPR + exception::first_interrupt);
  if (offset >= SHPR1 && offset <= SHPR3) return read_priorities(offset - SHPR1 + 4);
  if (offset >= features_at && offset < features_at + sizeof features)
    return features[(offset - features_at) / 4];
  switch (offset) {
    case ICTR:
      return (exceptions_.interrupts() - 1) / 32;
    case ACTLR:
      return actlr_;
    case SYST_CSR:
      return systick_.control(at);
    case SYST_RVR:
      return systick_.load();
    case SYST_CVR:
      return systick_.count(at);
    case SYST_CALIB:
      return 0x40000000;
    case CPUID:
      return 0x410fc241;
    case ICSR:
      return interrupt_state();
    case VTOR:
      return exceptions_.vector_table;
    case AIRCR:
      return reset_key_read | group_ << 8;
    case SCR:
      return scr_;
    case CCR:
      return ccr_;
    case SHCSR:
      return handler_state();
    case CFSR:
      return exceptions_.memory_status | exceptions_.bus_status << 8 |
             exceptions_.usage_status << 16;
    case HFSR:
      return exceptions_.hard_status;
    case DFSR:
      return exceptions_.debug_status;
    case MMFAR:
      return exceptions_.memory_address;
    case BFAR:
      return exceptions_.bus_address;
    case CPACR:
      return cpu_.cpacr;
    case DEMCR:
      return demcr_;
    case FPCCR:
      return cpu_.fpccr;
    case FPCAR:
      return cpu_.fpcar;
    case FPDSCR:
      return cpu_.fpdscr;
    case MVFR0:
      return 0x10110021;
    case MVFR1:
      return 0x11000011;
    default:
      return 0;
  }
}

void SystemControl::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  if (offset >= ISER && offset < IPR) return write_interrupt_bits(offset, value);
  if (offset >= IPR && offset < IPR_end)
    return write_priorities(offset - IPR + exception::first_interrupt, value, mask);
  if (offset >= SHPR1 && offset <= SHPR3) return write_priorities(offset - SHPR1 + 4, value, mask);
  const auto merged = [&](Word before) { return (before & ~mask) | value; };
  switch (offset) {
    case ACTLR:
      actlr_ = merged(actlr_) & 0x307;
      break;
    case SYST_CSR:
      systick_.set_control(value, at);
      break;
    case SYST_RVR:
      systick_.set_load(merged(systick_.load()), at);
      break;
    case SYST_CVR:
      systick_.clear_count(at);
      break;
    case ICSR:
      write_interrupt_state(value);
      break;
    case VTOR:
      exceptions_.vector_table = merged(exceptions_.vector_table) & 0xffffff80;
      break;
    case AIRCR:
      write_reset_control(value);
      break;
    case SCR:
      scr_ = merged(scr_) & 0x16;
      exceptions_.sleep_on_exit = scr_ & 2;
      exceptions_.event_on_pend = scr_ & 0x10;
      break;
    case CCR:
      write_configuration(merged(ccr_));
      break;
    case SHCSR:
      write_handler_state(merged(handler_state()));
      break;
    case CFSR:  // ones clear
      exceptions_.memory_status &= ~(value & 0xff);
      exceptions_.bus_status &= ~(value >> 8 & 0xff);
      exceptions_.usage_status &= ~(value >> 16);
      break;
    case HFSR:
      exceptions_.hard_status &= ~value;
      break;
    case DFSR:
      exceptions_.debug_status &= ~value;
      break;
    case MMFAR:
      exceptions_.memory_address = merged(exceptions_.memory_address);
      break;
    case BFAR:
      exceptions_.bus_address = merged(exceptions_.bus_address);
      break;
    case CPACR:
      cpu_.cpacr = merged(cpu_.cpacr) & 0x00f00000;
      cpu_.update_fp_ready();
      break;
    case DEMCR:
      demcr_ = merged(demcr_) & 0x010f07f1;
      break;
    case STIR:
      if ((value & 0x1ff) < exceptions_.interrupts())
        exceptions_.pend((value & 0x1ff) + exception::first_interrupt);
      break;
    case FPCCR:
      // Writing LSPACT 0 gives up the state that waits to be stacked (B1.6).
      cpu_.fpccr = merged(cpu_.fpccr) & 0xc000017b;
      cpu_.update_fp_ready();
      break;
    case FPCAR:
      cpu_.fpcar = merged(cpu_.fpcar) & ~Word{7};
      break;
    case FPDSCR:
      cpu_.fpdscr = merged(cpu_.fpdscr) & fpscr_modes;
      break;
    default:
      break;
  }
}

}  // namespace stillrotor::io::cortexm
