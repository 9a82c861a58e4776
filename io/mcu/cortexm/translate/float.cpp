// Floating point (execute_float.hpp): by the host where the interpreter trusts it as well.
#include "io/mcu/cortexm/translate/writer.hpp"

#include "io/mcu/cortexm/execute_float.hpp"

namespace stillrotor::io::cortexm::translate {
namespace {

constexpr auto near = Xbyak::CodeGenerator::T_NEAR;
using By = Pending::By;

// is_ordinary() of a number shifted left by one, without its sign.
constexpr Word least = 2 * (0x00800000u + 1), span = 2 * (0x7f800000u - (0x00800000u + 1));

}  // namespace

/// What the unit has not asked for yet: may floating point run as it is, and does the host round as
/// the guest does.
void Writer::ask_for_float() {
  const Step& s = step();
  if (!s.asks_fp_ready && !s.asks_fp_mode) return;
  Jumps away;
  if (s.asks_fp_ready) {
    a_.cmp(member(&c_.fp_ready, 8), 0);
    away.add(jump_if(equal));
  }
  if (s.asks_fp_mode) {
    a_.mov(a_.eax, member(&c_.fpscr));
    a_.and_(a_.eax, fp::rounding | fp::flush_to_zero | fp::inexact);
    a_.cmp(a_.eax, fp::inexact);
    away.add(jump_if(not_equal));
  }
  detour(away, [this] { leave_by_handler(); });
  places_.fp_ready |= s.asks_fp_ready;
}

Jump Writer::check_ordinary(Xmm result) {
  a_.movd(a_.eax, result);
  a_.lea(a_.ecx, a_.ptr[a_.rax + a_.rax - static_cast<int>(least)]);
  a_.cmp(a_.ecx, span);
  return jump_if(not_below);
}

/// eax is the result of the host. `stands` may jump back with it; else the handler does it all.
void Writer::exactly(const Places& before, const Jumps& away, Try stands) {
  detour(away, [this, before, back = here(), stands = std::move(stands)] {
    const Places after = std::exchange(places_, before);
    Jumps in_vain;
    if (stands) stands(in_vain);
    in_vain.lead_to(here());
    store_registers();
    call(op(), is_in_block() ? op().in_it : op().execute);
    a_.sub(a_.r14, static_cast<int>(after.passed));
    places_ = after;
    load_registers();
    a_.jmp(back, near);
  });
}

void Writer::write_float_binary() {
  const Op& o = op();
  const Binary what = step().kind.binary;
  const Xmm n = get_single(o.n), m = get_single(o.m);
  overwrite_single(o.d);
  const Xmm to = fresh_single();
  const Places before = places_;
  a_.movaps(to, n);
  switch (what) {
    case Binary::sum:
      a_.addss(to, m);
      break;
    case Binary::difference:
      a_.subss(to, m);
      break;
    case Binary::quotient:
      a_.divss(to, m);
      break;
    default:
      a_.mulss(to, m);
  }
  const Jump away = check_ordinary(to);
  const std::uint8_t* const stands = here();
  if (what == Binary::negative_product) a_.xorps(to, a_.ptr[a_.rip + common_.sign_bits]);
  pass(o.cycles);
  bind_single(o.d, to);
  exactly(before, away, [this, what, n, m, stands](Jumps& in_vain) {
    a_.lea(a_.ecx, a_.ptr[a_.rax + a_.rax]);
    a_.test(a_.ecx, a_.ecx);
    if (what == Binary::sum || what == Binary::difference) {
      a_.jz(stands);
      return;
    }
    in_vain.add(jump_if(not_equal));
    go_on_if_zero(n, stands);
    if (what != Binary::quotient) go_on_if_zero(m, stands);
  });
}

/// Either zero: a product or quotient of it is zero exactly.
void Writer::go_on_if_zero(const Xmm& factor, const std::uint8_t* at) {
  a_.movd(a_.ecx, factor);
  a_.add(a_.ecx, a_.ecx);
  a_.jz(at);
}

void Writer::write_float_chained() {
  const Op& o = op();
  const bool negate_addend = step().kind.negate_addend, negate_product = step().kind.negate_product;
  const Xmm n = get_single(o.n), m = get_single(o.m), d = get_single(o.d);
  overwrite_single(o.d);
  const Xmm to = fresh_single();
  const Places before = places_;
  a_.movaps(a_.xmm0, n);
  a_.mulss(a_.xmm0, m);
  const Jump product_away = check_ordinary(a_.xmm0);
  const std::uint8_t* const product_stands = here();
  if (negate_addend && negate_product) {
    a_.movaps(to, d);
    a_.xorps(to, a_.ptr[a_.rip + common_.sign_bits]);
    a_.subss(to, a_.xmm0);
  } else if (negate_addend) {
    a_.movaps(to, a_.xmm0);
    a_.subss(to, d);
  } else {
    a_.movaps(to, d);
    negate_product ? a_.subss(to, a_.xmm0) : a_.addss(to, a_.xmm0);
  }
  const Jump sum_away = check_ordinary(to);
  const std::uint8_t* const sum_stands = here();
  pass(o.cycles);
  bind_single(o.d, to);
  exactly(before, sum_away, [this, sum_stands](Jumps&) {
    a_.add(a_.eax, a_.eax);
    a_.jz(sum_stands);
  });
  exactly(before, product_away, [this, product_stands, n, m](Jumps& in_vain) {
    a_.add(a_.eax, a_.eax);
    in_vain.add(jump_if(not_equal));
    for (const Xmm& factor : {n, m}) go_on_if_zero(factor, product_stands);
  });
}

/// As float_fused(): by double, where the product is exact.
void Writer::write_float_fused() {
  const Op& o = op();
  const bool negate_addend = step().kind.negate_addend, negate_first = step().kind.negate_product;
  const Xmm n = get_single(o.n), m = get_single(o.m), d = get_single(o.d);
  overwrite_single(o.d);
  const Xmm to = fresh_single();
  const Places before = places_;
  a_.cvtss2sd(a_.xmm0, n);
  a_.cvtss2sd(a_.xmm1, m);
  a_.mulsd(a_.xmm0, a_.xmm1);
  a_.cvtss2sd(a_.xmm1, d);
  // In xmm0, but for the sign, the sum.
  if (!negate_addend && negate_first) {
    a_.subsd(a_.xmm1, a_.xmm0);
    a_.movaps(a_.xmm0, a_.xmm1);
  } else if (negate_addend && !negate_first) {
    a_.subsd(a_.xmm0, a_.xmm1);
  } else {
    a_.addsd(a_.xmm0, a_.xmm1);
  }
  a_.cvtsd2ss(to, a_.xmm0);
  Jumps away = check_ordinary(to);
  a_.movd(a_.ecx, a_.xmm0);
  a_.and_(a_.ecx, (1u << 29) - 1);
  a_.cmp(a_.ecx, 1u << 28);
  away.add(jump_if(equal));
  if (negate_addend && negate_first) a_.xorps(to, a_.ptr[a_.rip + common_.sign_bits]);
  pass(o.cycles);
  bind_single(o.d, to);
  exactly(before, away, {});
}

void Writer::write_float_unary() {
  const Op& o = op();
  const Unary what = step().kind.unary;
  if (what == Unary::immediate) {
    overwrite_single(o.d);
    const Xmm to = fresh_single();
    a_.mov(a_.eax, o.imm);
    a_.movd(to, a_.eax);
    pass(o.cycles);
    bind_single(o.d, to);
    return;
  }
  const Xmm m = get_single(o.m);
  overwrite_single(o.d);
  const Xmm to = fresh_single();
  const Places before = places_;
  Jumps away;
  switch (what) {
    case Unary::absolute:
      a_.movaps(to, m);
      a_.andps(to, a_.ptr[a_.rip + common_.other_bits]);
      break;
    case Unary::negative:
      a_.movaps(to, m);
      a_.xorps(to, a_.ptr[a_.rip + common_.sign_bits]);
      break;
    case Unary::root:
      away.add(check_ordinary(m));
      a_.test(a_.eax, a_.eax);
      away.add(jump_if(sign));
      a_.sqrtss(to, m);
      break;
    case Unary::from_whole:
      a_.movd(a_.eax, m);
      a_.xorps(to, to);
      o.imm == 1 ? a_.cvtsi2ss(to, a_.rax) : a_.cvtsi2ss(to, a_.eax);
      break;
    case Unary::to_whole:
      // All ones but the sign is what the host gives where it cannot.
      if (o.imm & 1) {
        a_.movd(a_.eax, m);
        a_.test(a_.eax, a_.eax);
        away.add(jump_if(sign));
      }
      a_.cvttss2si(a_.eax, m);
      a_.cmp(a_.eax, 0x80000000);
      away.add(jump_if(equal));
      a_.movd(to, a_.eax);
      break;
    default:
      a_.movaps(to, m);
  }
  pass(o.cycles);
  bind_single(o.d, to);
  if (!away.empty()) exactly(before, away, {});
}

void Writer::write_float_compare() {
  const Op& o = op();
  replace(flag::float_status);
  const Source a = Source::of_single(o.d),
               b = o.imm & 1 ? Source::of_number(0) : Source::of_single(o.m);
  get_single(o.d);
  if (!(o.imm & 1)) get_single(o.m);
  const Pending comparison{By::float_compare, a, b};
  compare_floats(comparison);
  detour(jump_if(unordered), [this] { leave_by_handler(); });
  pass(o.cycles);
  places_.float_status = comparison;
}

void Writer::write_status_to_flags() {
  pass(op().cycles);
  replace(flag::core);
  if (places_.float_status.by != By::memory) {
    places_.nz = places_.carry = places_.overflow = places_.float_status;
    places_.carry.borrow = true;
    return;
  }
  // As Cpu::set_nzcv().
  a_.mov(a_.eax, member(&c_.fpscr));
  a_.mov(member(&c_.flags.negative), a_.eax);
  a_.bt(a_.eax, 29);
  a_.setb(member(&c_.flags.carry, 8));
  a_.bt(a_.eax, 28);
  a_.setb(member(&c_.flags.overflow, 8));
  a_.not_(a_.eax);
  a_.and_(a_.eax, 1u << 30);
  a_.mov(member(&c_.flags.zero), a_.eax);
}

void Writer::write_float_to_core() {
  const Op& o = op();
  const Xmm n = get_single(o.n);
  overwrite(o.d);
  const Reg to = fresh();
  a_.movd(to, n);
  pass(o.cycles);
  bind(o.d, to);
}

void Writer::write_float_from_core() {
  const Op& o = op();
  const Reg d = get(o.d);
  overwrite_single(o.n);
  const Xmm to = fresh_single();
  a_.movd(to, d);
  pass(o.cycles);
  bind_single(o.n, to);
}

}  // namespace stillrotor::io::cortexm::translate
