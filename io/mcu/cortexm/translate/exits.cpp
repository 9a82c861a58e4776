// Ways out of a unit, and calls of handlers within it.
#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr auto near = Xbyak::CodeGenerator::T_NEAR;

const Op* hop_back(Cpu& c, const Op* op) { return c.hop_back(op); }

}  // namespace

/// Where a load has just ended, the next one depends on it; longer ago, it makes no difference.
void Writer::store_last_load() {
  if (places_.last_load != LastLoad::just_now) return;
  a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed)]);
  a_.mov(member(&c_.last_load, 64), a_.rax);
  a_.mov(member(&c_.last_loaded), places_.loaded);
}

/// All but the cycle; nothing is cached any more.
void Writer::store_state() {
  store_registers();
  make(flag::core | flag::float_status);
  store_last_load();
  const unsigned passed = places_.passed;
  all_in_memory();
  places_.passed = passed;
}

void Writer::leave_at(const Op* op) {
  store_state();
  if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(op));
  a_.jmp(common_.leave, near);
}

/// With everything in memory. Leaves the next instruction in rax and the cycle in r14.
void Writer::call(const Op& op, Handler handler) {
  a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed + op.cycles)]);
  a_.mov(member(&c_.cycle, 64), a_.rax);
  a_.mov(a_.rsi, reinterpret_cast<std::uint64_t>(&op));
  a_.mov(member(&c_.ip, 64), a_.rsi);
  a_.mov(a_.rdi, a_.rbx);
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(handler));
  a_.call(a_.rax);
  a_.mov(a_.r14, member(&c_.cycle, 64));
}

void Writer::call_step() {
  const Step& s = step();
  const Does does = s.kind.does;
  if (is_in_block()) {
    leave_by_block();
    return;
  }
  store_state();
  call(op(), op().execute);
  all_in_memory();
  places_.last_load = LastLoad::as_in_memory;
  if (does <= Does::call_away) places_.fp_ready = false;
  if (s.ends) {
    a_.jmp(common_.go_on, near);
    return;
  }
  a_.mov(a_.rcx, reinterpret_cast<std::uint64_t>(s.then));
  a_.cmp(a_.rax, a_.rcx);
  a_.jne(common_.go_on);
  const std::size_t next = at_ + 1 + s.in_block;
  if (!careful_ && next < unit_.steps.size() && !unit_.steps[next].looks) {
    a_.lea(a_.rcx, a_.ptr[a_.r14 + static_cast<int>(ahead_of_next())]);
    a_.cmp(a_.rcx, member(&c_.stop, 64));
    a_.jae(common_.go_on);
  }
  if (places_.fp_ready) {
    a_.cmp(member(&c_.fp_ready, 8), 0);
    a_.je(common_.go_on);
  }
  // What the next load may overlap with.
  const bool single = does == Does::load || does == Does::call_loading ||
                      (does == Does::float_load && s.kind.bytes == 1);
  if (single) {
    a_.cmp(a_.r14, member(&c_.last_load, 64));
    a_.jne(common_.go_on);
    places_.last_load = LastLoad::just_now;
    places_.loaded = does == Does::float_load ? 16 : op().d;
  }
}

/// The step is done by its handler, and whatever comes then by another unit.
void Writer::leave_by_handler() {
  store_state();
  call(op(), op().execute);
  a_.jmp(common_.go_on, near);
}

/// This step of an IT block and what comes behind it in the block, as the interpreter does them.
void Writer::leave_by_block() {
  store_state();
  a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed)]);
  a_.mov(member(&c_.cycle, 64), a_.rax);
  a_.mov(member(&c_.it, 8), step().it);
  a_.mov(a_.rsi, reinterpret_cast<std::uint64_t>(&op()));
  a_.mov(a_.rdi, a_.rbx);
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(&run_it_block));
  a_.call(a_.rax);
  a_.mov(a_.r14, member(&c_.cycle, 64));
  a_.jmp(common_.go_on, near);
}

/// With everything in memory.
void Writer::jump_out(const Op* to) {
  if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
  places_.passed = 0;
  links_.push_back({to, jump()});
  a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(to));
  a_.jmp(common_.leave, near);
}

/// As Cpu::fetch_flash_line(); passed has been added already.
void Writer::fetch_line(Word address) {
  const Bus& bus = c_.bus;
  a_.inc(member(&c_.effects, 64));
  if (address - bus.flash.base >= bus.flash.bytes && address - bus.flash_alias >= bus.flash.bytes)
    return;
  const Word line = address >> flash_line_bits;
  a_.add(a_.r14, static_cast<int>(c_.flash_wait));
  if (c_.code.timing.instruction_cache)
    a_.mov(member(&c_.kept_lines[line % flash_lines]), line + 1);
}

/// On, when the line is there or has been fetched.
void Writer::check_line(Word address, const std::function<void()>& where_kept) {
  if (c_.flash_wait == 0) {
    where_kept();
    return;
  }
  const Word line = address >> flash_line_bits;
  a_.cmp(member(&c_.kept_lines[line % flash_lines]), line + 1);
  const Jump missing = jump_if(not_equal);
  where_kept();
  detour(missing, [this, address, on = here()] {
    fetch_line(address);
    a_.jmp(on, near);
  });
}

/// A taken branch out of the unit.
void Writer::hop_out(const Op& branch) {
  places_.passed += branch.cycles + 1u;
  places_.last_load = LastLoad::earlier;
  const Places held = places_;
  store_state();
  if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
  places_.passed = 0;
  const Op* const to = &branch + branch.hop;
  const bool goes_round = to == unit_.steps.front().op && in_detour_ && !careful_;
  check_line(branch.imm, [&] {
    if (!is_short_way_back(branch)) return;
    // Cpu::hop_back(), up to where a round may have had no effect.
    a_.mov(a_.rax, member(&c_.effects, 64));
    a_.mov(a_.rcx, reinterpret_cast<std::uint64_t>(&branch));
    a_.cmp(a_.rax, member(&c_.loop.effects, 64));
    const Jump may_wait = jump_if(equal);
    const void* const on = here();
    a_.mov(member(&c_.loop.branch, 64), a_.rcx);
    a_.mov(member(&c_.loop.effects, 64), a_.rax);
    a_.mov(member(&c_.loop.rounds), 0);
    detour(may_wait, [this, on, goes_round, done = here()] {
      a_.cmp(a_.rcx, member(&c_.loop.branch, 64));
      a_.jne(on);
      a_.cmp(member(&c_.loop.rounds), IdleLoop::last_look);
      a_.ja(done);  // nothing is expected of it any more
      a_.mov(member(&c_.cycle, 64), a_.r14);
      a_.mov(a_.rdi, a_.rbx);
      a_.mov(a_.rsi, a_.rcx);
      a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(&hop_back));
      a_.call(a_.rax);
      a_.mov(a_.r14, member(&c_.cycle, 64));
      a_.jmp(goes_round ? entry_ : done, near);  // the call has not kept the registers
    });
  });
  goes_round ? go_round(held) : jump_out(to);
}

/// With everything in memory, and as `held` says in registers too: on with the unit's begin.
void Writer::go_round(const Places& held) {
  if (round_.head != nullptr) {
    move_registers(held, round_.places);
    a_.jmp(round_.head, near);
    return;
  }
  keep_registers(held);
  round_ = {here(), places_};
  write_body();
}

void Writer::or_by_handler(const Places& before, const Jumps& away, Try elsewhere) {
  detour(away, [this, before, back = here(), elsewhere = std::move(elsewhere)] {
    const Places after = std::exchange(places_, before);
    const Jump done = write_peripheral_met();
    Jumps in_vain;
    if (elsewhere) elsewhere(in_vain);
    in_vain.lead_to(here());
    if (is_in_block()) {
      leave_by_block();
      return;
    }
    store_state();
    call(op(), op().execute);
    if (done != nullptr) lead(done, here());
    a_.lea(a_.rcx, a_.ptr[a_.r14 + static_cast<int>(ahead_of_next())]);
    a_.cmp(a_.rcx, member(&c_.stop, 64));
    a_.jae(common_.go_on);
    if (after.last_load == LastLoad::just_now) {
      a_.cmp(a_.r14, member(&c_.last_load, 64));
      a_.jne(common_.go_on);
    }
    if (after.fp_ready) {
      a_.cmp(member(&c_.fp_ready, 8), 0);
      a_.je(common_.go_on);
    }
    if (after.passed != 0) a_.sub(a_.r14, static_cast<int>(after.passed));
    places_ = after;
    load_registers();
    a_.jmp(back, near);
  });
}

}  // namespace stillrotor::io::cortexm::translate
