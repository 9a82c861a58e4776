// Data processing (execute_data.hpp).
#include <bit>

#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

using By = Pending::By;

Word computed(Alu f, Word x, Word y) noexcept {
  switch (f) {
    case Alu::and_:
      return x & y;
    case Alu::bic:
      return x & ~y;
    case Alu::orr:
      return x | y;
    case Alu::orn:
      return x | ~y;
    case Alu::eor:
      return x ^ y;
    case Alu::mvn:
      return ~y;
    case Alu::add:
      return x + y;
    case Alu::sub:
      return x - y;
    case Alu::rsb:
      return y - x;
    default:
      return y;
  }
}
Word shifted(Operand k, Word value, unsigned by) noexcept {
  switch (k) {
    case Operand::lsl:
      return value << by;
    case Operand::lsr:
      return by == 32 ? 0 : value >> by;
    case Operand::asr:
      return static_cast<Word>(static_cast<Signed>(value) >> (by == 32 ? 31 : by));
    default:
      return std::rotr(value, static_cast<int>(by));
  }
}
/// Which bit of the operand the shifter carries out.
unsigned carried_bit(Operand k, unsigned by) noexcept {
  return k == Operand::lsl ? 32 - by : by - 1;
}

}  // namespace

void Writer::write_data() {
  const Op& o = op();
  const Kind& k = step().kind;
  const bool logical = k.alu <= Alu::mvn;
  const bool moves = k.alu == Alu::mov || k.alu == Alu::mvn;
  const bool shifts = k.operand > Operand::plain;
  const unsigned to_reg = k.keep == Keep::stack_pointer ? 13 : o.d;
  pass(o.cycles);
  replace(step().replaces);

  Word x_value = 0, m_value = 0;
  const bool x_known = moves || known(o.n, x_value);
  const bool m_known = k.operand == Operand::immediate || known(o.m, m_value);
  Word y_value = k.operand == Operand::immediate ? o.imm : m_value;

  // The shifter's carry, while its operand is still there.
  if (logical && (step().replaces & flag::carry)) {
    if (!shifts) {
      places_.carry = {By::number, Source::of_number(o.carry), {}};
    } else if (m_known) {
      places_.carry = {
          By::number, Source::of_number(m_value >> carried_bit(k.operand, o.shift) & 1), {}};
    } else if (lives(flag::carry)) {
      a_.bt(get(o.m), static_cast<std::uint8_t>(carried_bit(k.operand, o.shift)));
      a_.setb(member(&c_.flags.carry, 8));
    }
  }
  if (shifts && m_known) y_value = shifted(k.operand, m_value, o.shift);

  const Source x = x_known ? Source::of_number(x_value) : Source::of_core(o.n);
  const Source y = m_known ? Source::of_number(y_value) : Source::of_core(o.m);
  const bool y_stays = m_known || !shifts;  // it can be asked for later
  const auto y_to = [&](Reg to) {
    const Reg m = get(o.m);
    switch (k.operand) {
      case Operand::lsl:
        a_.mov(to, m);
        a_.shl(to, o.shift);
        break;
      case Operand::lsr:
        if (o.shift == 32) {
          a_.xor_(to, to);
        } else {
          a_.mov(to, m);
          a_.shr(to, o.shift);
        }
        break;
      case Operand::asr:
        a_.mov(to, m);
        a_.sar(to, o.shift == 32 ? 31 : o.shift);
        break;
      case Operand::ror:
        a_.mov(to, m);
        a_.ror(to, o.shift);
        break;
      default:
        a_.mov(to, m);
    }
  };
  const auto carry_and_overflow_now = [&](bool borrow) {
    if (lives(flag::carry)) {
      const auto at = member(&c_.flags.carry, 8);
      borrow ? a_.setae(at) : a_.setb(at);
    }
    if (lives(flag::overflow)) a_.seto(member(&c_.flags.overflow, 8));
  };
  if (k.keep == Keep::flags_only) {
    const bool subtracts = k.alu == Alu::sub;
    if (!y_stays) {
      y_to(a_.ecx);
      load_to(a_.eax, x);
      if (k.alu == Alu::and_)
        a_.and_(a_.eax, a_.ecx);
      else if (k.alu == Alu::eor)
        a_.xor_(a_.eax, a_.ecx);
      else if (subtracts)
        a_.sub(a_.eax, a_.ecx);
      else
        a_.add(a_.eax, a_.ecx);
      if (!logical) carry_and_overflow_now(subtracts);
      a_.mov(member(&c_.flags.negative), a_.eax);
      a_.mov(member(&c_.flags.zero), a_.eax);
      return;
    }
    if (!x_known) get(o.n);
    if (!m_known) get(o.m);
    const By by = k.alu == Alu::and_  ? By::test
                  : k.alu == Alu::eor ? By::differ
                  : subtracts         ? By::compare
                                      : By::add;
    places_.nz = {by, x, y};
    if (!logical) places_.carry = places_.overflow = {by, x, y, subtracts};
    return;
  }

  overwrite(to_reg);
  const auto nz_of_result = [&] {
    if (k.sets_flags) places_.nz = {By::value, Source::of_core(to_reg), {}};
  };
  // Carry and overflow of a sum or a difference, by what is left when the result stands in Rd.
  const Source d = Source::of_core(to_reg);
  const bool x_left = x_known || o.n != to_reg, y_left = y_stays && (m_known || o.m != to_reg);
  Pending later_on;
  if (k.alu == Alu::add)
    later_on = y_left   ? Pending{By::compare, d, y, false}
               : x_left ? Pending{By::compare, d, x, false}
                        : Pending{};
  if (k.alu == Alu::sub)
    later_on = x_left && y_left ? Pending{By::compare, x, y, true}
               : y_left         ? Pending{By::add, d, y, true}
               : x_left         ? Pending{By::compare, x, d, true}
                                : Pending{};
  if (k.alu == Alu::rsb)
    later_on = x_left && y_left ? Pending{By::compare, y, x, true}
               : x_left         ? Pending{By::add, d, x, true}
               : y_left         ? Pending{By::compare, y, d, true}
                                : Pending{};
  const bool at_once = k.sets_flags && !logical && later_on.by == By::memory;

  if (x_known && m_known) {
    Word result = computed(k.alu, x_value, y_value);
    if (k.keep == Keep::stack_pointer) result &= ~Word{3};
    set_known(to_reg, result);
    nz_of_result();
    if (k.sets_flags && !logical) {
      places_.carry = places_.overflow = k.alu == Alu::add   ? Pending{By::add, x, y, false}
                                         : k.alu == Alu::sub ? Pending{By::compare, x, y, true}
                                                             : Pending{By::compare, y, x, true};
    }
    return;
  }

  Reg to = a_.eax;
  if (moves) {
    if (m_known) {
      set_known(to_reg, computed(k.alu, 0, y_value));
      if (k.keep == Keep::stack_pointer) set_known(to_reg, y_value & ~Word{3});
      nz_of_result();
      return;
    }
    const Reg m = get(o.m);
    if (o.m == to_reg) {
      to = m;
    } else {
      to = fresh();
    }
    if (!shifts) {
      if (to.getIdx() != m.getIdx()) a_.mov(to, m);
    } else if (to.getIdx() == m.getIdx()) {
      y_to(a_.ecx);
      a_.mov(to, a_.ecx);
    } else {
      y_to(to);
    }
    if (k.alu == Alu::mvn) a_.not_(to);
  } else {
    const bool in_place = !x_known && o.n == to_reg;
    const bool by_lea = !at_once && !in_place && !shifts && !x_known;
    if (k.alu == Alu::add && by_lea && m_known) {
      const Reg n = get(o.n);
      to = fresh();
      a_.lea(to, a_.ptr[n.cvt64() + static_cast<int>(y_value)]);
    } else if (k.alu == Alu::add && by_lea) {
      const Reg n = get(o.n), m = get(o.m);
      to = fresh();
      a_.lea(to, a_.ptr[n.cvt64() + m.cvt64()]);
    } else if (k.alu == Alu::sub && by_lea && m_known) {
      const Reg n = get(o.n);
      to = fresh();
      a_.lea(to, a_.ptr[n.cvt64() + static_cast<int>(0 - y_value)]);
    } else if (k.alu == Alu::rsb) {
      // y - x, beside both.
      if (shifts && !m_known) y_to(a_.ecx);
      const Reg n = get(o.n);
      to = fresh();
      if (m_known)
        a_.mov(to, y_value);
      else if (shifts)
        a_.mov(to, a_.ecx);
      else
        a_.mov(to, get(o.m));
      a_.sub(to, n);
    } else {
      if (shifts && !m_known) y_to(a_.ecx);
      const auto y_of = [&](const auto& use) {
        if (m_known)
          use(y_value);
        else if (shifts)
          use(a_.ecx);
        else
          use(get(o.m));
      };
      if (!m_known && !shifts) get(o.m);
      if (in_place) {
        to = get(o.n);
      } else if (x_known) {
        to = fresh();
        a_.mov(to, x_value);
      } else {
        const Reg n = get(o.n);
        to = fresh();
        a_.mov(to, n);
      }
      switch (k.alu) {
        case Alu::and_:
          y_of([&](const auto& from) { a_.and_(to, from); });
          break;
        case Alu::bic:
          if (m_known) {
            a_.and_(to, ~y_value);
          } else {
            y_of([&](const auto& from) { a_.mov(a_.edx, from); });
            a_.not_(a_.edx);
            a_.and_(to, a_.edx);
          }
          break;
        case Alu::orr:
          y_of([&](const auto& from) { a_.or_(to, from); });
          break;
        case Alu::orn:
          if (m_known) {
            a_.or_(to, ~y_value);
          } else {
            y_of([&](const auto& from) { a_.mov(a_.edx, from); });
            a_.not_(a_.edx);
            a_.or_(to, a_.edx);
          }
          break;
        case Alu::eor:
          y_of([&](const auto& from) { a_.xor_(to, from); });
          break;
        case Alu::add:
          y_of([&](const auto& from) { a_.add(to, from); });
          break;
        default:
          y_of([&](const auto& from) { a_.sub(to, from); });
      }
    }
  }
  if (at_once) carry_and_overflow_now(k.alu != Alu::add);
  if (k.keep == Keep::stack_pointer) a_.and_(to, ~Word{3});
  bind(to_reg, to);
  nz_of_result();
  if (k.sets_flags && !logical && !at_once) places_.carry = places_.overflow = later_on;
}

void Writer::write_compute() {
  const Op& o = op();
  const Kind& k = step().kind;
  pass(o.cycles);
  Word value = 0;
  if (k.compute == Compute::move_top && known(o.d, value)) {
    overwrite(o.d);
    set_known(o.d, (value & 0xffff) | o.imm << 16);
    return;
  }
  overwrite(o.d);
  Reg to = a_.eax;
  switch (k.compute) {
    case Compute::move_top:
      to = get(o.d);
      a_.and_(to, 0xffff);
      a_.or_(to, o.imm << 16);
      break;
    case Compute::insert_field: {
      const Word mask = ones(o.shift);
      a_.mov(a_.eax, get(o.n));
      a_.and_(a_.eax, mask);
      a_.shl(a_.eax, static_cast<int>(o.imm));
      to = get(o.d);
      a_.and_(to, ~(mask << o.imm));
      a_.or_(to, a_.eax);
      break;
    }
    case Compute::unsigned_field: {
      const Reg n = get(o.n);
      to = fresh();
      a_.mov(to, n);
      if (o.imm != 0) a_.shr(to, static_cast<int>(o.imm));
      if (o.imm + o.shift < 32) a_.and_(to, ones(o.shift));
      break;
    }
    case Compute::signed_field: {
      const Reg n = get(o.n);
      to = fresh();
      a_.mov(to, n);
      if (o.imm + o.shift < 32) a_.shl(to, static_cast<int>(32 - o.imm - o.shift));
      if (o.shift < 32) a_.sar(to, static_cast<int>(32u - o.shift));
      break;
    }
    case Compute::extend: {
      const Reg m = get(o.m);
      to = fresh();
      a_.mov(a_.eax, m);
      if (o.shift != 0) a_.ror(a_.eax, o.shift);
      if (k.bits == 8)
        k.is_signed ? a_.movsx(to, a_.al) : a_.movzx(to, a_.al);
      else
        k.is_signed ? a_.movsx(to, a_.ax) : a_.movzx(to, a_.ax);
      if (o.n != 15) a_.add(to, get(o.n));
      break;
    }
    case Compute::multiply:
    case Compute::multiply_add:
    case Compute::multiply_subtract: {
      const Reg n = get(o.n), m = get(o.m);
      to = fresh();
      if (k.compute == Compute::multiply_subtract) {
        a_.mov(a_.eax, n);
        a_.imul(a_.eax, m);
        a_.mov(to, get(o.a));
        a_.sub(to, a_.eax);
      } else {
        a_.mov(to, n);
        a_.imul(to, m);
        if (k.compute == Compute::multiply_add) a_.add(to, get(o.a));
      }
      break;
    }
    case Compute::leading_zeros: {
      const Reg m = get(o.m);
      to = fresh();
      // 63 where there is no bit at all: 31 less the highest bit's number is 32 less it, then.
      a_.mov(a_.eax, 63);
      a_.bsr(to, m);
      a_.cmovz(to, a_.eax);
      a_.xor_(to, 31);
      break;
    }
    case Compute::reversed_bytes: {
      const Reg m = get(o.m);
      to = fresh();
      a_.mov(to, m);
      a_.bswap(to);
      break;
    }
  }
  bind(o.d, to);
}

void Writer::write_multiply_flags() {
  const Op& o = op();
  pass(o.cycles);
  replace(flag::nz);
  overwrite(o.d);
  const Reg n = get(o.n), m = get(o.m);
  const Reg to = fresh();
  a_.mov(to, n);
  a_.imul(to, m);
  bind(o.d, to);
  places_.nz = {By::value, Source::of_core(o.d), {}};
}

void Writer::write_long_product() {
  const Op& o = op();
  pass(o.cycles);
  overwrite(o.d);
  overwrite(o.a);
  const Reg n = get(o.n), m = get(o.m);
  if (step().kind.is_signed) {
    a_.movsxd(a_.rax, n);
    a_.movsxd(a_.rcx, m);
  } else {
    a_.mov(a_.eax, n);
    a_.mov(a_.ecx, m);
  }
  a_.imul(a_.rax, a_.rcx);
  const Reg low = fresh();
  a_.mov(low, a_.eax);
  bind(o.a, low);
  const Reg high = fresh();
  a_.shr(a_.rax, 32);
  a_.mov(high, a_.eax);
  bind(o.d, high);
}

}  // namespace stillrotor::io::cortexm::translate
