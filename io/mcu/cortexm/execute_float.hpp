// Floating-point instructions. d, n, m: numbers of single registers; a double register is two of
// them.
//
// Source ARM DDI 0403E: A2.5, A7.7 (V...).
#pragma once

#include <cmath>

#include "io/mcu/cortexm/cpu.hpp"
#include "io/mcu/cortexm/float_arithmetic.hpp"

namespace stillrotor::io::cortexm {

inline float as_float(Word bits) noexcept { return std::bit_cast<float>(bits); }
inline Word as_bits(float value) noexcept { return std::bit_cast<Word>(value); }

/// The host may compute: nearest, no flush, and the flag that any rounding would set is set.
inline bool is_ordinary_mode(Word fpscr) noexcept {
  return (fpscr & (fp::rounding | fp::flush_to_zero | fp::inexact)) == fp::inexact;
}
/// Above the smallest normal number and finite: no other flag can have come up.
inline bool is_ordinary(Word result) noexcept {
  constexpr Word smallest = 0x00800000, infinite = 0x7f800000;
  return (result & ~fp::sign_bit) - (smallest + 1) < infinite - (smallest + 1);
}

template <auto Exact, auto Host>
Word binary(Word a, Word b, Word& fpscr) noexcept {
  if (is_ordinary_mode(fpscr)) {
    const Word quick = as_bits(Host(as_float(a), as_float(b)));
    if (is_ordinary(quick)) [[likely]]
      return quick;
  }
  return Exact(a, b, fpscr);
}
inline float host_add(float a, float b) noexcept { return a + b; }
inline float host_subtract(float a, float b) noexcept { return a - b; }
inline float host_multiply(float a, float b) noexcept { return a * b; }
inline float host_divide(float a, float b) noexcept { return a / b; }

inline Word sum(Word a, Word b, Word& s) noexcept { return binary<fp::add, host_add>(a, b, s); }
inline Word difference(Word a, Word b, Word& s) noexcept {
  return binary<fp::subtract, host_subtract>(a, b, s);
}
inline Word product(Word a, Word b, Word& s) noexcept {
  return binary<fp::multiply, host_multiply>(a, b, s);
}
inline Word negative_product(Word a, Word b, Word& s) noexcept {
  return fp::negated(product(a, b, s));
}
inline Word quotient(Word a, Word b, Word& s) noexcept {
  return binary<fp::divide, host_divide>(a, b, s);
}

template <auto F>
const Op* float_binary(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.s[op->d] = F(c.s[op->n], c.s[op->m], c.fpscr);
  return next(op);
}
/// VMLA and its like: the product is rounded before the sum.
template <bool NegateAddend, bool NegateProduct>
const Op* float_chained(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  const Word addend = NegateAddend ? fp::negated(c.s[op->d]) : c.s[op->d];
  const Word p = product(c.s[op->n], c.s[op->m], c.fpscr);
  c.s[op->d] = sum(addend, NegateProduct ? fp::negated(p) : p, c.fpscr);
  return next(op);
}
template <bool NegateAddend, bool NegateFirst>
const Op* float_fused(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  const Word addend = NegateAddend ? fp::negated(c.s[op->d]) : c.s[op->d];
  const Word n = NegateFirst ? fp::negated(c.s[op->n]) : c.s[op->n];
  if (is_ordinary_mode(c.fpscr)) {
    const Word quick = as_bits(std::fma(as_float(n), as_float(c.s[op->m]), as_float(addend)));
    if (is_ordinary(quick)) {
      c.s[op->d] = quick;
      return next(op);
    }
  }
  c.s[op->d] = fp::multiply_add(addend, n, c.s[op->m], c.fpscr);
  return next(op);
}
template <auto F>
const Op* float_unary(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.s[op->d] = F(c, op, c.s[op->m]);
  return next(op);
}
inline Word float_copy(Cpu&, const Op*, Word m) noexcept { return m; }
inline Word float_absolute(Cpu&, const Op*, Word m) noexcept { return m & ~fp::sign_bit; }
inline Word float_negative(Cpu&, const Op*, Word m) noexcept { return fp::negated(m); }
inline Word float_root(Cpu& c, const Op*, Word m) noexcept { return fp::square_root(m, c.fpscr); }
inline Word float_immediate(Cpu&, const Op* op, Word) noexcept { return op->imm; }
/// Bits in a, fraction in shift; imm bit 0: unsigned, bit 1: towards zero / nearest.
inline Word float_to_fixed(Cpu& c, const Op* op, Word m) noexcept {
  // Towards zero and well inside the range, as C converts.
  if (op->imm == 2 && op->a == 32 && op->shift == 0 && is_ordinary_mode(c.fpscr)) {
    const float value = as_float(m);
    constexpr float limit = 2147483520.0f;  // the last float below 2^31
    if (value >= -limit && value <= limit)
      return static_cast<Word>(static_cast<std::int32_t>(value));
  }
  return fp::to_fixed(m, op->a, op->shift, op->imm & 1, op->imm & 2, c.fpscr);
}
inline Word float_from_fixed(Cpu& c, const Op* op, Word m) noexcept {
  if (op->imm == 0 && op->shift == 0 && is_ordinary_mode(c.fpscr))
    return as_bits(static_cast<float>(static_cast<std::int32_t>(m)));
  return fp::from_fixed(m, op->a, op->shift, op->imm & 1, op->imm & 2, c.fpscr);
}
/// Half precision: shift 16: the upper half.
inline Word float_from_half(Cpu& c, const Op* op, Word m) noexcept {
  return fp::half_to_single(m >> op->shift, c.fpscr);
}
inline Word float_to_half(Cpu& c, const Op* op, Word m) noexcept {
  const Word half = fp::single_to_half(m, c.fpscr);
  return (c.s[op->d] & ~(0xffffu << op->shift)) | half << op->shift;
}
/// imm bit 0: with zero, bit 1: quiet NaNs signal.
inline const Op* float_compare(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  const Word left = c.s[op->d], right = op->imm & 1 ? 0 : c.s[op->m];
  const float x = as_float(left), y = as_float(right);
  Word nzcv;
  // No NaN and nothing to flush: as C compares.
  if (!(c.fpscr & fp::flush_to_zero) && (x == y || x < y || x > y))
    nzcv = x == y ? 0x60000000u : x < y ? 0x80000000u : 0x20000000u;
  else
    nzcv = fp::compare(left, right, op->imm & 2, c.fpscr);
  c.fpscr = (c.fpscr & 0x0fffffff) | nzcv;
  return next(op);
}

inline const Op* float_to_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.r[op->d] = c.s[op->n];
  return next(op);
}
inline const Op* float_from_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.s[op->n] = c.r[op->d];
  return next(op);
}
/// Two core registers d and a, single registers n and n + 1.
inline const Op* float_pair_to_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.r[op->d] = c.s[op->n];
  c.r[op->a] = c.s[op->n + 1u];
  return next(op);
}
inline const Op* float_pair_from_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.s[op->n] = c.r[op->d];
  c.s[op->n + 1u] = c.r[op->a];
  return next(op);
}
inline const Op* status_to_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  if (op->d == 15)
    c.set_nzcv(c.fpscr);
  else
    c.r[op->d] = c.fpscr;
  return next(op);
}
inline const Op* status_from_core(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.fpscr = c.r[op->d] & 0xf7c0009f;
  return next(op);
}

/// imm: offset (n 15: the address). a: singles, 1 or 2.
inline const Op* float_load(Cpu& c, const Op* op) {
  if (!c.prepare_fp()) return op;
  c.charge_load(op);
  c.last_loaded = 16;
  const Word address = c.r[op->n] + op->imm;
  Word first = 0, second = 0;
  if (!c.load_aligned(address, first)) return op;
  if (op->a == 2) {
    c.spend(1);
    if (!c.load_aligned(address + 4, second)) return op;
    c.s[op->d + 1u] = second;
  }
  c.s[op->d] = first;
  return next(op);
}
inline const Op* float_store(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  if (!c.prepare_fp()) return op;
  c.spend(1);
  const Word address = c.r[op->n] + op->imm;
  if (!c.store_aligned(address, c.s[op->d])) return op;
  if (op->a == 2) {
    c.spend(1);
    if (!c.store_aligned(address + 4, c.s[op->d + 1u])) return op;
  }
  return after;
}
/// a: singles; shift bit 0: write back, bit 1: decrement before.
template <bool Load>
const Op* float_multiple(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  if (!c.prepare_fp()) return op;
  const Word bytes = 4u * op->a, base = c.r[op->n];
  const Word start = op->shift & 2 ? base - bytes : base;
  std::array<Word, 32> loaded;
  for (unsigned i = 0; i < op->a; ++i) {
    c.spend(1);
    if (Load ? !c.load_aligned(start + 4 * i, loaded[i])
             : !c.store_aligned(start + 4 * i, c.s[op->d + i]))
      return op;
  }
  if (Load)
    for (unsigned i = 0; i < op->a; ++i) c.s[op->d + i] = loaded[i];
  if (op->shift & 1) c.r[op->n] = op->shift & 2 ? start : base + bytes;
  return after;
}

}  // namespace stillrotor::io::cortexm
