#include "io/mcu/cortexm/exceptions.hpp"

#include <bit>
#include <cstring>
#include <utility>

namespace stillrotor::io::cortexm {
namespace {

constexpr Word basic_frame = 0x20, extended_frame = 0x68;
constexpr Word forced = 1u << 30, vector_error = 1u << 1, debug_event = 1u << 31;
constexpr Word realigned = 1u << 9;  // in the stacked xPSR

}  // namespace

Exceptions::Exceptions(Cpu& cpu, Scheduler& scheduler, unsigned interrupts)
    : cpu_(cpu), scheduler_(scheduler), interrupts_(interrupts) {}

void Exceptions::reset() noexcept {
  Cpu& c = cpu_;
  ++c.effects;
  pending_ = active_ = enabled_ = {};
  for (unsigned n = 1; n < exception::first_interrupt; ++n) enabled_.put(n, true);
  priority_ = {};
  pending_count_ = 0;
  for (unsigned n = exception::first_interrupt; n < exception::most; ++n)
    if (line_[n]) pend(n);
  locked_up_ = sleep_ = false;
  times.reset();
  vector_table = 0;
  memory_status = bus_status = usage_status = hard_status = debug_status = 0;
  memory_enabled = bus_enabled = usage_enabled = false;
  align_stack = true;
  thread_from_any = sleep_on_exit = event_on_pend = false;
  // What the architecture leaves open starts as zeros, R0 to R12 and S0 to S31 as well.
  c.r = {};
  c.s = {};
  c.flags = {};
  c.r[14] = ~Word{0};
  c.it = 0;
  c.ge = 0;
  c.saturated = false;
  c.ipsr = 0;
  c.unprivileged_thread = c.process_stack = c.fp_active = false;
  c.other_sp = 0;
  c.primask = c.faultmask = false;
  c.basepri = 0;
  c.active_priority = priority::none;
  set_priority_group(0);
  c.event = c.exclusive = false;
  c.trap_unaligned = c.trap_divide_by_zero = false;
  c.cpacr = c.fpcar = c.fpdscr = c.fpscr = 0;
  c.fpccr = fp_context::automatic | fp_context::lazy;
  c.update_fp_ready();
  c.trap = Trap::none;
  Word stack = 0, start = 0;
  if (!c.bus.read(0, 4, stack, c.cycle, true) || !c.bus.read(4, 4, start, c.cycle, true)) {
    hard_status |= vector_error;
    locked_up_ = true;
    return;
  }
  c.r[13] = stack & ~Word{3};
  c.thumb = start & 1;
  c.set_pc(start);
}

// --- pending --------------------------------------------------------------------------------
void Exceptions::pend(unsigned number) noexcept {
  if (pending_[number]) return;
  pending_.put(number, true);
  ++pending_count_;
  if (event_on_pend) cpu_.event = true;
  if (enabled_[number]) cpu_.attend();
}
void Exceptions::unpend(unsigned number) noexcept {
  if (!pending_[number]) return;
  pending_.put(number, false);
  --pending_count_;
  // A line that is still high asks again.
  if (line_[number] && !active_[number]) pend(number);
}
void Exceptions::set_line(unsigned interrupt, bool high) noexcept {
  const unsigned n = exception::first_interrupt + interrupt;
  const bool rises = high && !line_[n];
  line_.put(n, high);
  if (rises) pend(n);
}
void Exceptions::enable(unsigned number, bool on) noexcept {
  enabled_.put(number, on);
  if (on && pending_[number]) cpu_.attend();
}
void Exceptions::set_priority(unsigned number, Word value) noexcept {
  priority_[number] = static_cast<std::uint8_t>(value & priority::implemented);
  find_active_priority();
  cpu_.attend();
}
void Exceptions::set_priority_group(Word group) noexcept {
  cpu_.group_mask = ~((Word{2} << group) - 1);
  find_active_priority();
  cpu_.attend();
}
void Exceptions::set_active(unsigned number, bool on) noexcept {
  active_.put(number, on);
  find_active_priority();
  cpu_.attend();
}

int Exceptions::priority_of(unsigned number) const noexcept {
  return number <= exception::hard_fault ? static_cast<int>(number) - 4 : priority_[number];
}
int Exceptions::group_priority(unsigned number) const noexcept {
  const int p = priority_of(number);
  return p < 0 ? p : static_cast<int>(static_cast<Word>(p) & cpu_.group_mask);
}
unsigned Exceptions::highest_pending() const noexcept { return candidate(priority::none + 1); }

/// Of the pending and enabled: the most urgent, the lowest number among equals (B1.5.4). It counts
/// when its group is more urgent than `below`.
unsigned Exceptions::candidate(int below) const noexcept {
  if (pending_count_ == 0) return 0;
  unsigned best = 0;
  pending_.for_each_also_in(enabled_, [&](unsigned n) {
    if (best == 0 || priority_of(n) < priority_of(best)) best = n;
  });
  return best != 0 && group_priority(best) < below ? best : 0;
}
unsigned Exceptions::active_count() const noexcept { return active_.count(); }
void Exceptions::find_active_priority() noexcept {
  int lowest = priority::none;
  active_.for_each_also_in(active_,
                           [&](unsigned n) { lowest = std::min(lowest, group_priority(n)); });
  cpu_.active_priority = lowest;
}
bool Exceptions::wakes() const noexcept {
  const bool masked = std::exchange(cpu_.primask, false);
  const bool result = candidate(cpu_.execution_priority()) != 0;
  cpu_.primask = masked;
  return result;
}

void Exceptions::let_pass(unsigned cycles) noexcept {
  cpu_.cycle += cost(cycles);
  scheduler_.run_due(cpu_.cycle);
}

// --- in -------------------------------------------------------------------------------------
/// B1.5.6, PushStack.
bool Exceptions::push_frame(Word return_address) noexcept {
  Cpu& c = cpu_;
  const bool extended = c.fp_active;
  const bool lazy = extended && (c.fpccr & fp_context::lazy);
  const Word size = extended ? extended_frame : basic_frame;
  const Word force = extended || align_stack ? 4 : 0, moved = c.r[13] & force;
  c.r[13] = (c.r[13] - size) & ~force;
  const Word frame = c.r[13];
  if (c.handler_mode() || !c.process_stack) times.stacked(frame);
  const Word status = (c.xpsr() & ~realigned) | (moved ? realigned : 0);
  const Word words[] = {c.r[0], c.r[1], c.r[2], c.r[3], c.r[12], c.r[14], return_address, status};
  bool written = true;
  const auto put = [&](Word offset, Word value) {
    written &= c.bus.write(frame + offset, 4, value, c.cycle, c.privileged());
  };
  if (std::uint8_t* const place = c.bus.plain_ram(frame, sizeof words))
    std::memcpy(place, words, sizeof words);
  else
    for (Word i = 0; i < 8; ++i) put(4 * i, words[i]);
  if (lazy) note_lazy_frame(frame + basic_frame);
  if (extended && !lazy) {
    for (Word i = 0; i < 16; ++i) put(basic_frame + 4 * i, c.s[i]);
    put(basic_frame + 64, c.fpscr);
    c.spend(extended_frame_cycles);
  }
  return written;
}

/// B1.6, UpdateFPCCR.
void Exceptions::note_lazy_frame(Word frame) noexcept {
  Cpu& c = cpu_;
  c.fpcar = frame & ~Word{7};
  const int now = c.execution_priority();
  Word kept = c.fpccr & (fp_context::automatic | fp_context::lazy);
  kept |= fp_context::lazy_active;
  if (!c.privileged()) kept |= fp_context::user;
  if (!c.handler_mode()) kept |= fp_context::thread;
  if (now > priority::hard_fault) kept |= fp_context::hard_ready;
  if (bus_enabled && now > priority_of(exception::bus_fault)) kept |= fp_context::bus_ready;
  c.fpccr = kept;
}

Word Exceptions::entry_link() const noexcept {
  const Cpu& c = cpu_;
  const Word where = c.handler_mode() ? 0x1 : c.process_stack ? 0xd : 0x9;
  return 0xffffffe0 | (c.fp_active ? 0 : 0x10) | where;
}

/// B1.5.6, ExceptionTaken.
void Exceptions::take(unsigned number, Word link) noexcept {
  Cpu& c = cpu_;
  ++c.effects;
  pending_.put(number, false);
  --pending_count_;
  ++taken;
  c.r[14] = link;
  c.set_mode(number, false);
  c.it = 0;
  c.fp_active = false;
  active_.put(number, true);
  find_active_priority();
  c.exclusive = false;
  c.event = true;
  c.update_fp_ready();
  Word vector = 0;
  if (!c.bus.read(vector_table + 4 * number, 4, vector, c.cycle, true)) {
    // The handler never starts: its address cannot be had.
    hard_status |= vector_error;
    active_.put(number, false);
    find_active_priority();
    if (number <= exception::hard_fault || c.execution_priority() <= priority::hard_fault) {
      locked_up_ = true;
      return;
    }
    pend(exception::hard_fault);
    take(exception::hard_fault, link);
    return;
  }
  times.enter(number, c.cycle);
  c.thumb = vector & 1;
  const Cycle before = c.cycle;  // the refill is part of the entry
  c.set_pc(vector);
  if (c.cycle != before) c.cycle = std::max(before, c.cycle - 2);
}

void Exceptions::stack_and_take(Word return_address) noexcept {
  const Word link = entry_link();
  if (!push_frame(return_address)) {
    bus_status |= bus_error::stacking;
    fault(exception::bus_fault);
  }
  if (locked_up_) return;
  let_pass(entry_cycles);
  unsigned number = candidate(cpu_.execution_priority());
  if (number == 0) number = highest_pending();
  count_chain(number, false);
  take(number, link);
}

void Exceptions::count_chain(unsigned number, bool chained) noexcept {
  chain_ = {number, chained && number == chain_.number ? chain_.count + 1 : 1};
  if (chain_.count > longest_.count) longest_ = chain_;
}

/// Nothing but the refill lies between a return and a fault of the instruction that it went to.
void Exceptions::count_fault(Word pc) noexcept {
  constexpr Cycle refill = 64;
  const bool again = pc == returned_to_ && cpu_.cycle - returned_at_ <= refill;
  same_fault = again ? same_fault + 1 : 0;
}

void Exceptions::enter() noexcept { stack_and_take(cpu_.pc()); }

/// Pends it, or HardFault in its place when it is off or not urgent enough (B1.5.14).
void Exceptions::fault(unsigned number) noexcept {
  const bool on = number == exception::memory_fault  ? memory_enabled
                  : number == exception::bus_fault   ? bus_enabled
                  : number == exception::usage_fault ? usage_enabled
                                                     : true;
  const int now = cpu_.execution_priority();
  if (on && group_priority(number) < now) {
    pend(number);
    return;
  }
  if (now <= priority::hard_fault) {
    locked_up_ = true;
    return;
  }
  if (number != exception::hard_fault) hard_status |= forced;
  pend(exception::hard_fault);
}

bool Exceptions::act(Trap trap) noexcept {
  Cpu& c = cpu_;
  unsigned number = 0;
  switch (trap) {
    case Trap::supervisor_call:
      number = exception::supervisor_call;
      break;
    case Trap::usage_fault:
      usage_status |= c.trap_bits;
      number = exception::usage_fault;
      break;
    case Trap::bus_fault:
      bus_status |= c.trap_bits;
      if (c.trap_has_address) bus_address = c.trap_value;
      number = exception::bus_fault;
      break;
    case Trap::memory_fault:
      memory_status |= c.trap_bits;
      number = exception::memory_fault;
      break;
    case Trap::breakpoint:
      // No debugger and no monitor: C1.6.1.
      debug_status |= 2;
      hard_status |= debug_event;
      number = exception::hard_fault;
      break;
    case Trap::exception_return:
      leave(c.trap_value);
      return !locked_up_;
    default:
      return true;
  }
  if (trap != Trap::supervisor_call) count_fault(c.pc());
  fault(number);
  if (locked_up_) return false;
  stack_and_take(c.pc());
  return !locked_up_;
}

// --- out ------------------------------------------------------------------------------------
void Exceptions::deactivate(unsigned number) noexcept {
  active_.put(number, false);
  times.leave(number, cpu_.cycle);
  if (number != exception::nmi) cpu_.faultmask = false;
  if (line_[number]) pend(number);
  find_active_priority();
}

/// What may follow without unstacking.
bool Exceptions::follow(Word exc_return) noexcept {
  if (candidate(cpu_.execution_priority()) == 0) return false;
  let_pass(tail_chain_cycles);
  const unsigned next = candidate(cpu_.execution_priority());
  count_chain(next, true);
  take(next, exc_return);
  return true;
}

/// The integrity checks' answer: UsageFault INVPC, tail-chained (B1.5.8).
void Exceptions::refuse_return(unsigned number, Word exc_return) noexcept {
  deactivate(number);
  usage_status |= usage::invalid_pc;
  fault(exception::usage_fault);
  if (locked_up_) return;
  follow(exc_return | 0xf0000000);
}

/// B1.5.8, ExceptionReturn.
void Exceptions::leave(Word exc_return) noexcept {
  Cpu& c = cpu_;
  const unsigned number = c.ipsr;
  const unsigned nested = active_count();
  const Word kind = exc_return & 0xf;
  const bool to_thread = kind == 0x9 || kind == 0xd;
  if (!active_[number] || (!to_thread && kind != 0x1) ||
      (to_thread && nested != 1 && !thread_from_any)) {
    refuse_return(number, exc_return);
    return;
  }
  deactivate(number);
  scheduler_.run_due(c.cycle);
  if (follow(exc_return)) return;
  const Cycle done = c.cycle + cost(return_cycles);
  while (scheduler_.next() <= done) {
    c.cycle = std::max(c.cycle, scheduler_.next());
    scheduler_.run_due(c.cycle);
    if (follow(exc_return)) return;
  }
  c.cycle = done;
  const Word frame = kind == 0xd ? c.process_sp() : c.main_sp();
  pop_frame(frame, exc_return);
  if (to_thread && nested == 1 && sleep_on_exit && c.ipsr == 0) sleep_ = true;
}

/// B1.5.8, PopStack, and the check of what it brought.
void Exceptions::pop_frame(Word frame, Word exc_return) noexcept {
  Cpu& c = cpu_;
  ++c.effects;
  const bool extended = !(exc_return & 0x10), to_thread = exc_return & 8;
  const bool on_process = (exc_return & 0xf) == 0xd;
  bool read = true;
  const auto get = [&](Word offset) {
    Word value = 0;
    read &= c.bus.read(frame + offset, 4, value, c.cycle, true);
    return value;
  };
  std::array<Word, 8> words;
  if (const std::uint8_t* const place = c.bus.plain_ram(frame, sizeof words))
    std::memcpy(words.data(), place, sizeof words);
  else
    for (Word i = 0; i < 8; ++i) words[i] = get(4 * i);
  std::array<Word, 17> floats{};
  const bool still_there = c.fpccr & fp_context::lazy_active;
  if (extended && !still_there) {
    for (Word i = 0; i < 17; ++i) floats[i] = get(basic_frame + 4 * i);
    c.spend(extended_frame_cycles);
  }
  const Word status = words[7], number = status & 0x1ff;
  if (!read || (number == 0) != to_thread) {
    // Nothing has been popped: the next handler finds the stack as this one did.
    if (!read) {
      bus_status |= bus_error::unstacking;
      fault(exception::bus_fault);
    } else {
      usage_status |= usage::invalid_pc;
      fault(exception::usage_fault);
    }
    if (!locked_up_) follow(exc_return | 0xf0000000);
    return;
  }
  if (extended) {
    if (still_there) {
      c.fpccr &= ~fp_context::lazy_active;
    } else if (!c.fp_access()) {
      usage_status |= usage::no_coprocessor;
      fault(exception::usage_fault);
      if (!locked_up_) follow(exc_return);
      return;
    } else {
      std::copy_n(floats.begin(), 16, c.s.begin());
      c.fpscr = floats[16];
    }
  }
  const Word force = extended || align_stack ? 4 : 0;
  const Word after =
      (frame + (extended ? extended_frame : basic_frame)) | ((status & realigned) && force ? 4 : 0);
  c.set_mode(number, on_process);
  c.r[13] = after;
  c.fp_active = extended;
  for (unsigned i = 0; i < 4; ++i) c.r[i] = words[i];
  c.r[12] = words[4];
  c.r[14] = words[5];
  c.set_nzcv(status);
  c.saturated = status >> 27 & 1;
  c.ge = status >> 16 & 0xf;
  c.it = static_cast<std::uint8_t>((status >> 25 & 3) | (status >> 10 & 0x3f) << 2);
  c.thumb = status >> 24 & 1;
  c.exclusive = false;
  c.event = true;
  c.update_fp_ready();
  const Cycle before = c.cycle;  // the refill is part of the return
  c.set_pc(words[6]);
  if (c.cycle != before) c.cycle = std::max(before, c.cycle - 2);
  returned_to_ = words[6] & ~Word{1};
  returned_at_ = c.cycle;
}

}  // namespace stillrotor::io::cortexm
