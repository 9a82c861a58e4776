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
  const Op* const to = &branch + branch.hop;
  const bool goes_round = to == unit_.steps.front().op && in_detour_ && !careful_;
  if (goes_round && in_round_) {
    go_round_again(branch.imm);
    return;
  }
  const Places held = places_;
  store_state();
  if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
  places_.passed = 0;
  // A round that has effects does not wait.
  const bool may_wait = is_short_way_back(branch) && !held.counted_effect;
  check_line(branch.imm, [&] {
    if (may_wait) look_for_waiting(branch, goes_round ? &held : nullptr);
  });
  if (!goes_round)
    jump_out(to);
  else if (may_wait)
    a_.jmp(entry_, near);
  else
    go_round(held);
}

/// Cpu::hop_back(), up to where a round may have had no effect. round: the branch closes one, of
/// which nothing is expected any more when it goes on as that says.
void Writer::look_for_waiting(const Op& branch, const Places* round) {
  a_.mov(a_.rax, member(&c_.effects, 64));
  a_.mov(a_.rcx, reinterpret_cast<std::uint64_t>(&branch));
  a_.cmp(a_.rax, member(&c_.loop.effects, 64));
  const Jump may_wait = jump_if(equal);
  const void* const on = here();
  a_.mov(member(&c_.loop.branch, 64), a_.rcx);
  a_.mov(member(&c_.loop.effects, 64), a_.rax);
  const auto computes = [&a = a_, &branch] {
    const auto offset = reinterpret_cast<const std::uint8_t*>(&branch.found.computes) -
                        reinterpret_cast<const std::uint8_t*>(&branch);
    return a.byte[a.rcx + static_cast<int>(offset)];
  };
  a_.cmp(computes(), 0);
  const Jump is_believed = jump_if(not_equal);
  a_.mov(member(&c_.loop.rounds), 0);
  const void* const done = here();
  const bool goes_round = round != nullptr;
  const Places held = goes_round ? *round : Places{};
  detour(is_believed, [this, computes, goes_round, held, done] {
    a_.dec(computes());
    a_.mov(member(&c_.loop.rounds), IdleLoop::last_look + 1);
    if (goes_round)
      go_round(held);
    else
      a_.jmp(done, near);
  });
  detour(may_wait, [this, on, goes_round, held, done] {
    a_.cmp(a_.rcx, member(&c_.loop.branch, 64));
    a_.jne(on);
    a_.cmp(member(&c_.loop.rounds), IdleLoop::last_look);
    if (goes_round) {
      const Jump looks = jump_if(not_above);
      go_round(held);
      lead(looks, here());
    } else {
      a_.ja(done);
    }
    a_.mov(member(&c_.cycle, 64), a_.r14);
    a_.mov(a_.rdi, a_.rbx);
    a_.mov(a_.rsi, a_.rcx);
    a_.mov(a_.rax, reinterpret_cast<std::uint64_t>(&hop_back));
    a_.call(a_.rax);
    a_.mov(a_.r14, member(&c_.cycle, 64));
    a_.jmp(done, near);  // the call has not kept the registers
  });
}

/// With everything in memory, and as `held` says in registers too: on with the round.
void Writer::go_round(Places held) {
  if (round_.head == nullptr) {
    places_ = at_begin_of_round(held);
    round_ = {here(), places_};
    in_round_ = true;
    write_body();
    in_round_ = false;
    return;
  }
  if (!same_flags(held, round_.places)) {
    a_.jmp(entry_, near);
    return;
  }
  for (Place& p : held.core) p.in_memory = true;
  for (SinglePlace& p : held.single) p.in_memory = true;
  move_registers(held, round_.places);
  a_.jmp(round_.head, near);
}

/// From the round's end to its begin, with no more in memory than there.
void Writer::go_round_again(Word begin) {
  const Places& head = round_.places;
  std::uint8_t missing = 0;
  if (head.nz.by == Pending::By::memory) missing |= flag::nz;
  if (head.carry.by == Pending::By::memory) missing |= flag::carry;
  if (head.overflow.by == Pending::By::memory) missing |= flag::overflow;
  if (head.float_status.by == Pending::By::memory) missing |= flag::float_status;
  make(missing);
  const bool fits = same_flags(places_, head);
  if (!fits) store_state();
  if (places_.passed != 0) a_.add(a_.r14, static_cast<int>(places_.passed));
  places_.passed = 0;
  check_line(begin, [] {});
  if (fits) move_registers(places_, head);
  a_.jmp(fits ? round_.head : entry_, near);
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
