#include "io/mcu/cortexm/cpu.hpp"

namespace stillrotor::io::cortexm {

void Cpu::execute() noexcept {
  if (loop.happened == happened()) leave_rounds_out();
  loop.branch = nullptr;  // between two stretches anything may have changed
  // ip is kept up for whoever asks for the PC in an access.
  if (it != 0) ip = run_it_block(*this, ip);
  if (translation_ != nullptr) {
    translation_->execute();
    return;
  }
  while (cycle < stop) {
    const Op* const op = ip;
    cycle += op->cycles;
    ip = op->execute(*this, op);
  }
}

void Cpu::translate(bool on) {
  code.follower = nullptr;
  translation_ = on ? make_translation(*this) : nullptr;
  code.follower = translation_.get();
}

const Op* run_it_block(Cpu& c, const Op* op) noexcept {
  while (c.it != 0 && c.cycle < c.stop) {
    const std::uint8_t state = c.it;
    c.ip = op;
    // ITAdvance (A7.3.2): the next condition's last bit moves up; done when no mask is left.
    c.it = (state & 7) == 0 ? 0 : static_cast<std::uint8_t>((state & 0xe0) | (state << 1 & 0x1f));
    if (!Code::is_decoded(op)) op = c.code.decode(op);
    if (c.condition(state >> 4)) {
      c.cycle += op->cycles;
      const Op* const after = op->in_it(c, op);
      // What faults has not been done: it stands in the block still.
      if (after == op && c.trap != Trap::none && c.trap != Trap::exception_return) c.it = state;
      op = after;
    } else {
      c.cycle += 1;
      op = next(op);
    }
  }
  return op;
}

bool Cpu::condition(unsigned condition) const noexcept {
  // By condition, a bit for each state of N, Z, C, V.
  static constexpr std::array<std::uint16_t, 16> holds_in = [] {
    std::array<std::uint16_t, 16> found{};
    for (unsigned state = 0; state < 16; ++state) {
      const bool n = state & 8, z = state & 4, carry = state & 2, v = state & 1;
      const bool base[] = {z, carry, n, v, carry && !z, n == v, n == v && !z, true};
      for (unsigned k = 0; k < 16; ++k)
        if (base[k / 2] != (k % 2 == 1 && k < 14))
          found[k] |= static_cast<std::uint16_t>(1u << state);
    }
    return found;
  }();
  const unsigned state = (flags.negative >> 31) << 3 | unsigned{flags.zero == 0} << 2 |
                         flags.carry << 1 | unsigned{flags.overflow != 0};
  return holds_in[condition] >> state & 1;
}

Word Cpu::apsr() const noexcept {
  return (flags.negative >> 31) << 31 | Word{flags.zero == 0} << 30 | flags.carry << 29 |
         Word{flags.overflow != 0} << 28 | Word{saturated} << 27 | Word{ge} << 16;
}

void Cpu::set_nzcv(Word value) noexcept {
  flags.negative = value;
  flags.zero = ~value & 1u << 30;
  flags.carry = value >> 29 & 1;
  flags.overflow = value >> 28 & 1;
}

Word Cpu::xpsr() const noexcept {
  return apsr() | Word{thumb} << 24 | (it & 3u) << 25 | (it >> 2 & 0x3fu) << 10 | ipsr;
}

Word Cpu::control() const noexcept {
  return Word{unprivileged_thread} | Word{process_stack && !handler_mode()} << 1 |
         Word{fp_active} << 2;
}

void Cpu::set_mode(Word exception_number, bool on_process_stack) noexcept {
  const Word main = main_sp(), process = process_sp();
  ipsr = exception_number;
  process_stack = on_process_stack;
  const bool on_process = process_stack && !handler_mode();
  r[13] = on_process ? process : main;
  other_sp = on_process ? main : process;
}

void Cpu::set_control(Word value) noexcept {
  unprivileged_thread = value & 1;
  if (!handler_mode()) set_mode(0, value & 2);
  fp_active = value & 4;
  update_fp_ready();
}

bool Cpu::load_elsewhere(Word address, unsigned size, Word& value) noexcept {
  ++effects;
  if ((address & (size - 1)) != 0) return load_unaligned(address, size, value);
  return bus.read(address, size, value, cycle, privileged()) || no_answer(address);
}

bool Cpu::store_elsewhere(Word address, unsigned size, Word value) noexcept {
  ++effects;
  if ((address & (size - 1)) != 0) return store_unaligned(address, size, value);
  return bus.write(address, size, value, cycle, privileged()) || no_answer(address);
}

/// A3.2.1: as the bytes lie in memory.
bool Cpu::load_unaligned(Word address, unsigned size, Word& value) noexcept {
  if (trap_unaligned) return fault_unaligned();
  spend(1);
  value = 0;
  for (unsigned i = 0; i < size; ++i) {
    Word byte = 0;
    if (!load_elsewhere(address + i, 1, byte)) return false;
    value |= byte << (8 * i);
  }
  return true;
}

bool Cpu::store_unaligned(Word address, unsigned size, Word value) noexcept {
  if (trap_unaligned) return fault_unaligned();
  spend(1);
  for (unsigned i = 0; i < size; ++i)
    if (!store_elsewhere(address + i, 1, value >> (8 * i) & 0xff)) return false;
  return true;
}

bool Cpu::no_answer(Word address) noexcept {
  raise(Trap::bus_fault, bus_error::precise | bus_error::address_valid, nullptr);
  trap_has_address = true;
  trap_value = address;
  return false;
}

const Op* Cpu::at_nowhere(Handler handler, Word address) noexcept {
  nowhere_[0] = Op{handler, handler, address, 0, 0, 0, 0, 0, 0, 1, 1, keep_carry, {}};
  return nowhere_.data();
}

const Op* Cpu::branch(Word address) noexcept {
  address &= ~Word{1};
  if (!thumb)
    return at_nowhere([](Cpu& c, const Op* op) { return c.usage_fault(usage::invalid_state, op); },
                      address);
  refill(address);
  const Op* op = code.find(address);
  if (op != nullptr) {
    if (op->halfwords == 2 && (address & 2)) spend(1);
    return op;
  }
  // B3.1: peripherals and the system region are never executed; the rest has no memory there.
  const bool never = (address >> 29) == 2 || (address >> 29) >= 5;
  return never ? at_nowhere(
                     [](Cpu& c, const Op* at) {
                       return c.raise(Trap::memory_fault, memory_error::instruction, at);
                     },
                     address)
               : at_nowhere(
                     [](Cpu& c, const Op* at) {
                       return c.raise(Trap::bus_fault, bus_error::instruction, at);
                     },
                     address);
}

const Op* Cpu::leave_exception(Word address, const Op* op) noexcept {
  if (!handler_mode()) {
    thumb = address & 1;
    return branch(address);
  }
  raise(Trap::exception_return, 0, op);
  trap_value = address;
  return op;
}

void Cpu::fetch_flash_line(Word address) noexcept {
  ++effects;
  if (address - bus.flash.base >= bus.flash.bytes && address - bus.flash_alias >= bus.flash.bytes)
    return;
  const Word line = address >> flash_line_bits;
  Word& kept = kept_lines[line % flash_lines];
  spend(flash_wait);
  if (code.timing.instruction_cache) kept = line + 1;
}

void Cpu::copy_to(IdleLoop::State& to) const noexcept {
  to.r = r;
  to.s = s;
  // How long ago the last load was matters up to one cycle.
  const bool load_is_near = last_load + 1 >= cycle;
  to.rest = {flags.negative,
             flags.zero,
             flags.carry,
             flags.overflow,
             fpscr,
             last_loaded,
             Word{load_is_near} << 1 | Word{last_load == cycle},
             Word{it} | Word{ge} << 8 | Word{saturated} << 16 | Word{exclusive} << 17 |
                 Word{event} << 18 | Word{fp_active} << 19};
}

/// Where the state is what it was a round ago and nothing but registers has been touched, every
/// further round is the same, with as many cycles: until the stretch ends.
const Op* Cpu::hop_back(const Op* op) noexcept {
  const Op* const target = op + op->hop;
  if (loop.branch != op || loop.effects != effects) {
    loop.branch = op;
    loop.effects = effects;
    std::uint8_t& computes = op->found.computes;
    loop.rounds = computes > 0 ? IdleLoop::last_look + 1 : 0;
    if (computes > 0) --computes;
    return target;
  }
  if (loop.rounds > IdleLoop::last_look) return target;
  if (++loop.rounds == 1) loop.kept = false;
  // A loop that computes is known by one register that moves: to copy all of them, each just
  // written, is what the processor waits for.
  if (const Word there = r[loop.moved]; there != loop.moved_to) {
    loop.moved_to = there;
    loop.kept = false;
    if (loop.rounds > IdleLoop::last_look) op->found.computes = IdleLoop::believed;
    return target;
  }
  IdleLoop::State now;
  copy_to(now);
  if (loop.kept && now == loop.state) {
    loop.round = cycle - loop.at;
    loop.happened = happened();
    leave_rounds_out();
    loop.rounds = IdleLoop::last_look + 1;  // less than a round is left of the stretch
    return target;
  }
  if (loop.kept) {
    const auto differs = std::mismatch(now.r.begin(), now.r.end(), loop.state.r.begin()).first;
    if (differs != now.r.end()) {
      loop.moved = static_cast<unsigned>(differs - now.r.begin());
      loop.moved_to = *differs;
    }
  }
  loop.state = now;
  loop.kept = true;
  loop.at = cycle;
  return target;
}

/// Of a loop that waits, wherever in it the processor stands: as many as begin before the end.
void Cpu::leave_rounds_out() noexcept {
  if (cycle + loop.round >= stop) return;
  const Cycle rounds = (stop - 1 - cycle) / loop.round;
  cycle += rounds * loop.round;
  last_load += rounds * loop.round;
  rounds_left_out += rounds;
}

bool Cpu::make_fp_ready() noexcept {
  ++effects;
  if (!fp_access()) {
    raise(Trap::usage_fault, usage::no_coprocessor, nullptr);
    return false;
  }
  if (fpccr & fp_context::lazy_active) {
    // PreserveFPState (B1.6): with the rights of the code whose registers these are.
    const bool owner_privileged = !(fpccr & fp_context::user);
    spend(extended_frame_cycles);
    bool written = true;
    for (unsigned i = 0; i < 16; ++i)
      written &= bus.write(fpcar + 4 * i, 4, s[i], cycle, owner_privileged);
    written &= bus.write(fpcar + 64, 4, fpscr, cycle, owner_privileged);
    fpccr &= ~fp_context::lazy_active;
    if (!written) {
      raise(Trap::bus_fault, bus_error::lazy, nullptr);
      update_fp_ready();
      return false;
    }
  }
  if ((fpccr & fp_context::automatic) && !fp_active) {
    fpscr = (fpscr & ~fpscr_modes) | (fpdscr & fpscr_modes);
    fp_active = true;
  }
  update_fp_ready();
  return true;
}

void Cpu::update_fp_ready() noexcept {
  fp_ready = fp_access() && !(fpccr & fp_context::lazy_active) &&
             (fp_active || !(fpccr & fp_context::automatic));
}

}  // namespace stillrotor::io::cortexm
