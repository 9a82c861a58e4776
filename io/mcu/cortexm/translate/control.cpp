// Branches and IT blocks (execute_control.hpp).
#include <utility>

#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr auto near = Xbyak::CodeGenerator::T_NEAR;
}  // namespace

/// On the way that the unit follows, out by the other one. Back: both may end it.
void Writer::write_branch_if() {
  const Op& o = op();
  unsigned taken = step().kind.not_zero ? not_equal : equal;
  if (step().kind.does == Does::compare_and_branch) {
    const Reg n = get(o.n);
    a_.test(n, n);
  } else {
    taken = test(step().kind.condition);
  }
  detour(jump_if(step().follows ? taken ^ 1 : taken), [this, &o] {
    if (!step().follows) {
      hop_out(o);
      return;
    }
    pass(o.cycles);
    store_state();
    jump_out(next(&o));
  });
  if (step().follows) {
    pass(o.cycles + 1u);
    check_line(o.imm, [] {});
    return;
  }
  pass(o.cycles);
  if (step().ends) {
    store_state();
    jump_out(step().then);
  }
}

/// Always taken: the unit goes on there. With a link or without.
void Writer::write_branch() {
  const Op& o = op();
  if (step().kind.does == Does::branch_with_link) {
    overwrite(14);
    set_known(14, (o.imm - static_cast<Word>(2 * o.hop) + 4) | 1);
  }
  if (step().ends) {
    hop_out(o);
    return;
  }
  pass(o.cycles + 1u);
  check_line(o.imm, [] {});
}

/// To where this unit called from, as Cpu::branch() does it.
void Writer::write_return() {
  const Op& o = op();
  const Op* const to = step().then;
  const Word address = c_.address_of(to);
  pass(o.cycles + 2u + (to->halfwords == 2 && (address & 2) ? 1u : 0u));
  check_line(address, [] {});
}

/// IT and its block.
void Writer::write_block() {
  if (careful_) return step().block == Step::Block::joined ? call_step() : leave_by_handler();
  switch (step().block) {
    case Step::Block::joined:
      return write_joined();
    case Step::Block::parted:
      return write_parted();
    case Step::Block::all_or_none:
      return write_all_or_none();
  }
}

/// Simple instructions: register to register, no flags.
void Writer::write_joined() {
  const std::size_t it = at_;
  const unsigned count = step().in_block;
  pass(op().cycles);
  // Two ways that come together again: all registers stand where they will stand behind.
  const Pending nz = places_.nz, carry = places_.carry, overflow = places_.overflow;
  const auto each = [&](const auto& use) {
    for (unsigned i = 1; i <= count; ++i) {
      at_ = it + i;
      use(step());
    }
    at_ = it;
  };
  each([&](const Step& s) {
    const Op& o = *s.op;
    at_ = it + count;  // wanted behind the block
    s.kind.does == Does::float_unary ? overwrite_single(o.d) : overwrite(o.d);
  });
  each([&](const Step& s) {
    const Op& o = *s.op;
    if (s.kind.does == Does::float_unary) {
      if (s.kind.unary != Unary::immediate) get_single(o.m);
      get_single(o.d);
      return;
    }
    Word value = 0;
    const bool moves = s.kind.alu == Alu::mov || s.kind.alu == Alu::mvn;
    if (!moves && !known(o.n, value)) get(o.n);
    if (s.kind.operand == Operand::plain && !known(o.m, value)) get(o.m);
    get(o.d);
  });
  each([&](const Step& s) {
    if (s.kind.does == Does::float_unary) {
      places_.single[s.op->d].in_memory = false;
    } else {
      Place& p = places_.core[s.op->d];
      p.in_memory = p.known = false;
    }
  });
  const Pending kept_nz = std::exchange(places_.nz, nz),
                kept_carry = std::exchange(places_.carry, carry),
                kept_overflow = std::exchange(places_.overflow, overflow);
  const unsigned condition = unit_.steps[it + 1].condition;
  const Jump otherwise = jump_if(test(condition) ^ 1);
  unsigned i = 1;
  for (; i <= count && unit_.steps[it + i].condition == condition; ++i)
    write_conditional(unit_.steps[it + i]);
  const bool both = i <= count;
  const Jump behind = both ? jump() : otherwise;
  if (both) lead(otherwise, here());
  for (; i <= count; ++i) write_conditional(unit_.steps[it + i]);
  lead(behind, here());
  places_.nz = kept_nz;
  places_.carry = kept_carry;
  places_.overflow = kept_overflow;
  pass(count);
}

/// Two ways: the one on which less is done stays in the unit.
void Writer::write_parted() {
  const std::size_t it = at_;
  const unsigned count = step().in_block, condition = unit_.steps[it + 1].condition;
  pass(op().cycles);
  unsigned done = 0;
  for (unsigned i = 1; i <= count; ++i) done += unit_.steps[it + i].condition == condition;
  const unsigned stays = 2 * done <= count ? condition : condition ^ 1;
  const auto go = [this, it, count](unsigned way) {
    for (at_ = it + 1; at_ <= it + count; ++at_)
      step().condition == way ? write_instruction() : pass(1);
    at_ = it;
  };
  detour(jump_if(test(stays ^ 1)), [this, go, stays] {
    go(stays ^ 1);
    store_state();
    jump_out(step().then);
  });
  go(stays);
}

/// A block that is mostly skipped, as a whole; else its handler does it, and the unit is left.
void Writer::write_all_or_none() {
  detour(jump_if(test(unit_.steps[at_ + 1].condition)), [this] {
    store_state();
    call(op(), op().execute);
    a_.jmp(common_.go_on, near);
  });
  pass(op().cycles + unsigned{step().in_block});
}

/// Nothing but its destination's host register may change.
void Writer::write_conditional(const Step& s) {
  const Op& o = *s.op;
  if (s.kind.does == Does::float_unary) {
    const Xmm to(places_.single[o.d].host);
    switch (s.kind.unary) {
      case Unary::immediate:
        a_.mov(a_.eax, o.imm);
        a_.movd(to, a_.eax);
        return;
      case Unary::absolute:
        a_.movaps(to, Xmm(places_.single[o.m].host));
        a_.andps(to, a_.ptr[a_.rip + common_.other_bits]);
        return;
      case Unary::negative:
        a_.movaps(to, Xmm(places_.single[o.m].host));
        a_.xorps(to, a_.ptr[a_.rip + common_.sign_bits]);
        return;
      default:
        a_.movaps(to, Xmm(places_.single[o.m].host));
        return;
    }
  }
  const Reg to(places_.core[o.d].host);
  const Source x = Source::of_core(o.n), y = s.kind.operand == Operand::immediate
                                                 ? Source::of_number(o.imm)
                                                 : Source::of_core(o.m);
  if (s.kind.alu == Alu::mov || s.kind.alu == Alu::mvn) {
    load_to(to, y);
    if (s.kind.alu == Alu::mvn) a_.not_(to);
    return;
  }
  load_to(a_.eax, s.kind.alu == Alu::rsb ? y : x);
  load_to(a_.ecx, s.kind.alu == Alu::rsb ? x : y);
  switch (s.kind.alu) {
    case Alu::and_:
      a_.and_(a_.eax, a_.ecx);
      break;
    case Alu::bic:
      a_.not_(a_.ecx);
      a_.and_(a_.eax, a_.ecx);
      break;
    case Alu::orr:
      a_.or_(a_.eax, a_.ecx);
      break;
    case Alu::eor:
      a_.xor_(a_.eax, a_.ecx);
      break;
    case Alu::add:
      a_.add(a_.eax, a_.ecx);
      break;
    default:  // SUB, RSB
      a_.sub(a_.eax, a_.ecx);
  }
  a_.mov(to, a_.eax);
}

}  // namespace stillrotor::io::cortexm::translate
