// The guest's flags: what they are made of is kept, and they are made where somebody may look.
#include <cstring>

#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

using By = Pending::By;

}  // namespace

void Writer::replace(std::uint8_t flags) noexcept {
  if (flags & flag::nz) places_.nz = {};
  if (flags & flag::carry) places_.carry = {};
  if (flags & flag::overflow) places_.overflow = {};
  if (flags & flag::float_status) places_.float_status = {};
}

/// Where flags are left to be made at the round's begin, they are made in the same way here.
bool Writer::same_flags(const Places& here, const Places& head) noexcept {
  const auto fits = [](const Pending& now, const Pending& wanted) {
    return wanted.by == By::memory || now == wanted;
  };
  return fits(here.nz, head.nz) && fits(here.carry, head.carry) &&
         fits(here.overflow, head.overflow) && fits(here.float_status, head.float_status);
}

template <class F>
void Writer::with_operand(const Source& s, F use) {
  Word value = 0;
  if (s.is == Source::Is::number)
    use(s.number);
  else if (places_.core[s.reg].host != nowhere)
    use(Reg(places_.core[s.reg].host));
  else if (known(s.reg, value))
    use(value);
  else
    use(guest(s.reg));
}

void Writer::load_to(Reg to, const Source& s) {
  with_operand(s, [&](const auto& from) { a_.mov(to, from); });
}

/// Sets the host's flags as the guest's have them; eax may be lost, and holds the value then.
void Writer::test_alone(const Pending& p) {
  switch (p.by) {
    case By::memory:
    case By::number:
      break;
    case By::value:
      if (p.a.is == Source::Is::core && places_.core[p.a.reg].host != nowhere) {
        a_.test(Reg(places_.core[p.a.reg].host), Reg(places_.core[p.a.reg].host));
      } else {
        load_to(a_.eax, p.a);
        a_.test(a_.eax, a_.eax);
      }
      break;
    case By::compare:
      if (p.a.is == Source::Is::core && places_.core[p.a.reg].host != nowhere) {
        with_operand(p.b, [&](const auto& b) { a_.cmp(Reg(places_.core[p.a.reg].host), b); });
      } else {
        load_to(a_.eax, p.a);
        with_operand(p.b, [&](const auto& b) { a_.cmp(a_.eax, b); });
      }
      break;
    case By::add:
      load_to(a_.eax, p.a);
      with_operand(p.b, [&](const auto& b) { a_.add(a_.eax, b); });
      break;
    case By::test:
      load_to(a_.eax, p.a);
      with_operand(p.b, [&](const auto& b) { a_.and_(a_.eax, b); });
      break;
    case By::differ:
      load_to(a_.eax, p.a);
      with_operand(p.b, [&](const auto& b) { a_.xor_(a_.eax, b); });
      break;
    case By::float_compare:
      compare_floats(p);
      break;
  }
}

void Writer::compare_floats(const Pending& p) {
  const auto place = [&](const Source& s, Xmm spare) {
    const SinglePlace& at = places_.single[s.reg];
    if (s.is == Source::Is::number) {
      a_.xorps(spare, spare);
      return spare;
    }
    if (at.host != nowhere) return Xmm(at.host);
    a_.movss(spare, guest_single(s.reg));
    return spare;
  };
  const Xmm x = place(p.a, a_.xmm0), y = place(p.b, a_.xmm1);
  a_.comiss(x, y);
}

void Writer::make_nz() {
  Pending& p = places_.nz;
  Word value = 0;
  switch (p.by) {
    case By::memory:
    case By::number:
      return;
    case By::value:
      if (p.a.is == Source::Is::core && places_.core[p.a.reg].host != nowhere) {
        const Reg at(places_.core[p.a.reg].host);
        a_.mov(member(&c_.flags.negative), at);
        a_.mov(member(&c_.flags.zero), at);
        return;
      }
      if (p.a.is == Source::Is::number || known(p.a.reg, value)) {
        if (p.a.is == Source::Is::number) value = p.a.number;
        a_.mov(member(&c_.flags.negative), value);
        a_.mov(member(&c_.flags.zero), value);
        return;
      }
      load_to(a_.eax, p.a);
      break;
    case By::compare:
      load_to(a_.eax, p.a);
      with_operand(p.b, [&](const auto& b) { a_.sub(a_.eax, b); });
      break;
    case By::float_compare:
      compare_floats(p);
      a_.mov(member(&c_.flags.zero), 0);
      a_.setne(member(&c_.flags.zero, 8));
      a_.sbb(a_.eax, a_.eax);  // all ones where it was below
      a_.mov(member(&c_.flags.negative), a_.eax);
      return;
    default:
      test_alone(p);
      break;
  }
  a_.mov(member(&c_.flags.negative), a_.eax);
  a_.mov(member(&c_.flags.zero), a_.eax);
}

/// Their upper bytes are zero always.
void Writer::make_carry_and_overflow(bool carry, bool overflow) {
  const Pending &c = places_.carry, &v = places_.overflow;
  carry &= c.by != By::memory;
  overflow &= v.by != By::memory;
  const bool together = carry && overflow && c.by == v.by && c.a == v.a && c.b == v.b;
  if (carry) {
    if (c.by == By::number) {
      a_.mov(member(&c_.flags.carry), c.a.number);
    } else {
      test_alone(c);
      const auto at = member(&c_.flags.carry, 8);
      c.borrow ? a_.setae(at) : a_.setb(at);
    }
  }
  if (overflow) {
    if (v.by == By::float_compare) {
      a_.mov(member(&c_.flags.overflow), 0);
      return;
    }
    if (!together) test_alone(v);
    a_.seto(member(&c_.flags.overflow, 8));
  }
}

void Writer::make_float_status() {
  const Pending& p = places_.float_status;
  if (p.by == By::memory) return;
  compare_floats(p);
  // N, Z, C: less 100, equal 011, greater 001.
  a_.mov(a_.eax, 0);
  a_.mov(a_.ecx, 0);
  a_.sete(a_.al);
  a_.setb(a_.cl);
  a_.lea(a_.ecx, a_.ptr[a_.rcx + a_.rcx * 2]);
  a_.lea(a_.eax, a_.ptr[a_.rcx + a_.rax * 2 + 1]);
  a_.shl(a_.eax, 29);
  a_.mov(a_.ecx, member(&c_.fpscr));
  a_.and_(a_.ecx, 0x0fffffff);
  a_.or_(a_.eax, a_.ecx);
  a_.mov(member(&c_.fpscr), a_.eax);
}

/// By the host's carry and zero, bits 0 and 6 of LAHF, times 16: the four flags as Cpu has them,
/// and 32 bytes on the upper bits of FPSCR.
std::array<std::uint8_t, 0x430> comparisons() noexcept {
  std::array<std::uint8_t, 0x430> table{};
  const auto put = [&](unsigned state, const Flags& flags, Word status) {
    std::memcpy(table.data() + 16 * state, &flags, sizeof flags);
    std::memcpy(table.data() + 16 * state + 32, &status, sizeof status);
  };
  static_assert(sizeof(Flags) == 16);
  put(0x00, {0, 1, 1, 0}, 0x20000000);           // greater
  put(0x01, {0x80000000, 1, 0, 0}, 0x80000000);  // less
  put(0x40, {0, 0, 1, 0}, 0x60000000);           // equal
  return table;
}

/// One comparison for all flags, and FPSCR's where that is the same one.
bool Writer::make_all_of_floats(std::uint8_t flags) {
  const Pending &n = places_.nz, &c = places_.carry, &v = places_.overflow,
                &f = places_.float_status;
  const Source a = n.a, b = n.b;
  const auto same = [a, b](const Pending& p) {
    return p.by == By::float_compare && p.a == a && p.b == b;
  };
  if ((flags & flag::core) != flag::core || !same(n) || !same(c) || !same(v)) return false;
  compare_floats(n);
  a_.lahf();
  a_.and_(a_.eax, 0x4100);
  a_.shr(a_.eax, 4);
  a_.mov(a_.rcx, reinterpret_cast<std::uint64_t>(common_.comparisons));
  a_.movaps(a_.xmm0, a_.ptr[a_.rcx + a_.rax]);
  a_.movups(member(&c_.flags, 128), a_.xmm0);
  replace(flag::core);
  if (!(flags & flag::float_status) || !same(f)) return true;
  a_.mov(a_.edx, member(&c_.fpscr));
  a_.and_(a_.edx, 0x0fffffff);
  a_.or_(a_.edx, a_.ptr[a_.rcx + a_.rax + 32]);
  a_.mov(member(&c_.fpscr), a_.edx);
  replace(flag::float_status);
  return true;
}

void Writer::make(std::uint8_t flags) {
  if (make_all_of_floats(flags)) flags &= flag::float_status;
  // One subtraction for all of them.
  const Pending &n = places_.nz, &c = places_.carry, &v = places_.overflow;
  if ((flags & flag::core) == flag::core && n.by == By::compare && c.by == By::compare &&
      v.by == By::compare && n.a == c.a && n.b == c.b && n.a == v.a && n.b == v.b) {
    load_to(a_.eax, n.a);
    with_operand(n.b, [&](const auto& b) { a_.sub(a_.eax, b); });
    c.borrow ? a_.setae(member(&c_.flags.carry, 8)) : a_.setb(member(&c_.flags.carry, 8));
    a_.seto(member(&c_.flags.overflow, 8));
    a_.mov(member(&c_.flags.negative), a_.eax);
    a_.mov(member(&c_.flags.zero), a_.eax);
  } else {
    if (flags & flag::nz) make_nz();
    make_carry_and_overflow(flags & flag::carry, flags & flag::overflow);
  }
  if (flags & flag::float_status) make_float_status();
  replace(flags);
}

unsigned Writer::test(unsigned condition) {
  const unsigned opposite = condition & 1;
  const Pending &n = places_.nz, &c = places_.carry, &v = places_.overflow;
  const auto same = [](const Pending& x, const Pending& y) {
    return x.by == y.by && x.a == y.a && x.b == y.b;
  };
  const bool floats = n.by == By::float_compare;
  switch (condition >> 1) {
    case 0:  // Z
      if (n.by == By::memory)
        a_.cmp(member(&c_.flags.zero), 0);
      else
        test_alone(n);
      return equal ^ opposite;
    case 1:  // C
      if (c.by == By::memory || c.by == By::number) {
        if (c.by == By::number) make(flag::carry);
        a_.cmp(member(&c_.flags.carry), 0);
        return not_equal ^ opposite;
      }
      test_alone(c);
      return (c.borrow ? not_below : below) ^ opposite;
    case 2:  // N
      if (n.by == By::memory)
        a_.cmp(member(&c_.flags.negative), 0);
      else
        test_alone(n);
      return (floats ? below : sign) ^ opposite;
    case 3:  // V
      if (v.by == By::compare || v.by == By::add) {
        test_alone(v);
        return overflow ^ opposite;
      }
      make(flag::overflow);
      a_.cmp(member(&c_.flags.overflow), 0);
      return not_equal ^ opposite;
    case 4:  // C and not Z
      if (same(n, c) && (floats || (n.by == By::compare && c.borrow))) {
        test_alone(n);
        return above ^ opposite;
      }
      make(flag::nz | flag::carry);
      a_.cmp(member(&c_.flags.carry), 0);
      a_.setne(a_.al);
      a_.cmp(member(&c_.flags.zero), 0);
      a_.setne(a_.cl);
      a_.test(a_.al, a_.cl);
      return not_equal ^ opposite;
    case 5:  // N is V
      if (same(n, v) && (floats || n.by == By::compare)) {
        test_alone(n);
        return (floats ? not_below : not_less) ^ opposite;
      }
      make(flag::nz | flag::overflow);
      a_.mov(a_.eax, member(&c_.flags.negative));
      a_.shr(a_.eax, 31);
      a_.cmp(a_.eax, member(&c_.flags.overflow));
      return equal ^ opposite;
    default:  // N is V, and not Z
      if (same(n, v) && (floats || n.by == By::compare)) {
        test_alone(n);
        return (floats ? above : greater) ^ opposite;
      }
      make(flag::nz | flag::overflow);
      a_.mov(a_.eax, member(&c_.flags.negative));
      a_.shr(a_.eax, 31);
      a_.cmp(a_.eax, member(&c_.flags.overflow));
      a_.sete(a_.al);
      a_.cmp(member(&c_.flags.zero), 0);
      a_.setne(a_.cl);
      a_.test(a_.al, a_.cl);
      return not_equal ^ opposite;
  }
}

}  // namespace stillrotor::io::cortexm::translate
