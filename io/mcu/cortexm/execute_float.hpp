// Floating-point instructions. d, n, m: numbers of single registers; a double register is two of
// them.
//
// Source ARM DDI 0403E: A2.5, A7.7 (V...).
#pragma once

#include <cmath>
#include <type_traits>

#include "io/mcu/cortexm/execute_memory.hpp"
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

inline bool is_zero(Word value) noexcept { return value << 1 == 0; }

// An operation: in whole numbers, by the host, and whether the host's result stands.
struct Sum {
  static Word exact(Word a, Word b, Word& fpscr) noexcept { return fp::add(a, b, fpscr); }
  static float host(float a, float b) noexcept { return a + b; }
  /// A sum that is zero is so exactly, with the same sign.
  static bool stands(Word result, Word, Word) noexcept {
    return is_ordinary(result) || is_zero(result);
  }
};
struct Difference : Sum {
  static Word exact(Word a, Word b, Word& fpscr) noexcept { return fp::subtract(a, b, fpscr); }
  static float host(float a, float b) noexcept { return a - b; }
};
struct Product {
  static Word exact(Word a, Word b, Word& fpscr) noexcept { return fp::multiply(a, b, fpscr); }
  static float host(float a, float b) noexcept { return a * b; }
  /// Zero: of a factor that is zero, not by underflow.
  static bool stands(Word result, Word a, Word b) noexcept {
    return is_ordinary(result) || (is_zero(result) && (is_zero(a) || is_zero(b)));
  }
};
struct NegativeProduct : Product {
  static Word exact(Word a, Word b, Word& fpscr) noexcept {
    return fp::negated(fp::multiply(a, b, fpscr));
  }
  static float host(float a, float b) noexcept { return -(a * b); }
};
struct Quotient {
  static Word exact(Word a, Word b, Word& fpscr) noexcept { return fp::divide(a, b, fpscr); }
  static float host(float a, float b) noexcept { return a / b; }
  static bool stands(Word result, Word a, Word) noexcept {
    return is_ordinary(result) || (is_zero(result) && is_zero(a));
  }
};

template <class F>
[[gnu::noinline]] const Op* float_binary_exactly(Cpu& c, const Op* op) {
  c.s[op->d] = F::exact(c.s[op->n], c.s[op->m], c.fpscr);
  return next(op);
}
template <class F>
const Op* float_binary(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word a = c.s[op->n], b = c.s[op->m];
  const Word quick = as_bits(F::host(as_float(a), as_float(b)));
  if (!is_ordinary_mode(c.fpscr) || !F::stands(quick, a, b)) return float_binary_exactly<F>(c, op);
  c.s[op->d] = quick;
  return next(op);
}
/// VMLA and its like: the product is rounded before the sum.
template <bool NegateAddend, bool NegateProduct>
[[gnu::noinline]] const Op* float_chained_exactly(Cpu& c, const Op* op) {
  const Word addend = NegateAddend ? fp::negated(c.s[op->d]) : c.s[op->d];
  const Word p = fp::multiply(c.s[op->n], c.s[op->m], c.fpscr);
  c.s[op->d] = fp::add(addend, NegateProduct ? fp::negated(p) : p, c.fpscr);
  return next(op);
}
template <bool NegateAddend, bool NegateProduct>
const Op* float_chained(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word a = c.s[op->n], b = c.s[op->m], d = c.s[op->d];
  const float addend = as_float(NegateAddend ? fp::negated(d) : d);
  const float p = Product::host(as_float(a), as_float(b));
  const Word quick = as_bits(addend + (NegateProduct ? -p : p));
  if (!is_ordinary_mode(c.fpscr) || !Product::stands(as_bits(p), a, b) || !Sum::stands(quick, 0, 0))
    return float_chained_exactly<NegateAddend, NegateProduct>(c, op);
  c.s[op->d] = quick;
  return next(op);
}
template <bool NegateAddend, bool NegateFirst>
[[gnu::noinline]] const Op* float_fused_exactly(Cpu& c, const Op* op) {
  const Word addend = NegateAddend ? fp::negated(c.s[op->d]) : c.s[op->d];
  const Word n = NegateFirst ? fp::negated(c.s[op->n]) : c.s[op->n];
  c.s[op->d] = fp::multiply_add(addend, n, c.s[op->m], c.fpscr);
  return next(op);
}
/// In double precision the product is exact, and the sum rounded again is the sum rounded once,
/// unless it came to lie half-way between two singles.
template <bool NegateAddend, bool NegateFirst>
const Op* float_fused(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word d = c.s[op->d], n = c.s[op->n];
  const double addend = as_float(NegateAddend ? fp::negated(d) : d);
  const double first = as_float(NegateFirst ? fp::negated(n) : n);
  const double sum = first * static_cast<double>(as_float(c.s[op->m])) + addend;
  constexpr std::uint64_t below = (1u << 29) - 1, half = 1u << 28;
  const Word quick = as_bits(static_cast<float>(sum));
  if (!is_ordinary_mode(c.fpscr) || !is_ordinary(quick) ||
      (std::bit_cast<std::uint64_t>(sum) & below) == half)
    return float_fused_exactly<NegateAddend, NegateFirst>(c, op);
  c.s[op->d] = quick;
  return next(op);
}
template <auto F>
const Op* float_unary(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.s[op->d] = F(c, op, c.s[op->m]);
  return next(op);
}
inline Word float_copy(Cpu&, const Op*, Word m) noexcept { return m; }
inline Word float_absolute(Cpu&, const Op*, Word m) noexcept { return m & ~fp::sign_bit; }
inline Word float_negative(Cpu&, const Op*, Word m) noexcept { return fp::negated(m); }
inline Word float_root(Cpu& c, const Op*, Word m) noexcept {
  if (is_ordinary_mode(c.fpscr) && is_ordinary(m) && !(m & fp::sign_bit))
    return as_bits(std::sqrt(as_float(m)));
  return fp::square_root(m, c.fpscr);
}
inline Word float_immediate(Cpu&, const Op* op, Word) noexcept { return op->imm; }
/// Bits in a, fraction in shift; imm bit 0: unsigned, bit 1: towards zero / nearest.
inline Word float_to_fixed(Cpu& c, const Op* op, Word m) noexcept {
  // Towards zero and well inside the range, as C converts.
  if (op->imm >= 2 && op->a == 32 && op->shift == 0 && is_ordinary_mode(c.fpscr)) {
    const float value = as_float(m);
    constexpr float limit = 2147483520.0f;  // the last float below 2^31
    if (value >= (op->imm & 1 ? 0.0f : -limit) && value <= limit)
      return static_cast<Word>(static_cast<std::int32_t>(value));
  }
  return fp::to_fixed(m, op->a, op->shift, op->imm & 1, op->imm & 2, c.fpscr);
}
inline Word float_from_fixed(Cpu& c, const Op* op, Word m) noexcept {
  if (op->imm < 2 && op->shift == 0 && is_ordinary_mode(c.fpscr))
    return as_bits(static_cast<float>(op->imm == 1 ? std::int64_t{m}
                                                   : std::int64_t{static_cast<std::int32_t>(m)}));
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
[[gnu::noinline]] inline const Op* float_compare_exactly(Cpu& c, const Op* op) {
  const Word nzcv = fp::compare(c.s[op->d], op->imm & 1 ? 0 : c.s[op->m], op->imm & 2, c.fpscr);
  c.fpscr = (c.fpscr & 0x0fffffff) | nzcv;
  return next(op);
}
inline const Op* float_compare(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const float x = as_float(c.s[op->d]), y = op->imm & 1 ? 0.0f : as_float(c.s[op->m]);
  // No NaN and nothing to flush: as C compares.
  if (std::isunordered(x, y) || (c.fpscr & fp::flush_to_zero)) return float_compare_exactly(c, op);
  const Word nzcv = x == y ? 0x60000000u : x < y ? 0x80000000u : 0x20000000u;
  c.fpscr = (c.fpscr & 0x0fffffff) | nzcv;
  return next(op);
}

inline const Op* float_to_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.r[op->d] = c.s[op->n];
  return next(op);
}
inline const Op* float_from_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.s[op->n] = c.r[op->d];
  return next(op);
}
/// Two core registers d and a, single registers n and n + 1.
inline const Op* float_pair_to_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.r[op->d] = c.s[op->n];
  c.r[op->a] = c.s[op->n + 1u];
  return next(op);
}
inline const Op* float_pair_from_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.s[op->n] = c.r[op->d];
  c.s[op->n + 1u] = c.r[op->a];
  return next(op);
}
inline const Op* status_to_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.r[op->d] = c.fpscr;
  return next(op);
}
inline const Op* status_to_flags(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.set_nzcv(c.fpscr);
  return next(op);
}
inline const Op* status_from_core(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  c.fpscr = c.r[op->d] & 0xf7c0009f;
  return next(op);
}

/// imm: offset (n 15: the address).
template <unsigned Singles>
[[gnu::noinline]] const Op* float_load_elsewhere(Cpu& c, const Op* op) {
  c.charge_load(op);
  c.last_loaded = 16;
  const Word address = c.r[op->n] + op->imm;
  Word first = 0, second = 0;
  if (Singles == 1 && (address & 3) == 0) {
    if (!c.load_elsewhere(address, 4, first)) return op;
  } else if (!c.load_aligned(address, first)) {
    return op;
  }
  if (Singles == 2) {
    c.spend(1);
    if (!c.load_aligned(address + 4, second)) return op;
    c.s[op->d + 1u] = second;
  }
  c.s[op->d] = first;
  return next(op);
}
template <unsigned Singles>
const Op* float_load(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word address = c.r[op->n] + op->imm;
  const std::uint8_t *place, *second;
  if (!c.readable<Word>(address, place) || (Singles == 2 && !c.readable<Word>(address + 4, second)))
    return float_load_elsewhere<Singles>(c, op);
  c.charge_load(op);
  c.last_loaded = 16;
  c.s[op->d] = taken_from<Word>(place);
  if (Singles == 2) {
    c.spend(1);
    c.s[op->d + 1u] = taken_from<Word>(place + 4);
  }
  return next(op);
}
template <unsigned Singles>
[[gnu::noinline]] const Op* float_store_elsewhere(Cpu& c, const Op* op) {
  const Op* const after = next(op);
  const Word address = c.r[op->n] + op->imm;
  for (unsigned i = 0; i < Singles; ++i) {
    c.spend(1);
    if (!c.store_aligned(address + 4 * i, c.s[op->d + i])) return op;
  }
  return after;
}
template <unsigned Singles>
const Op* float_store(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word address = c.r[op->n] + op->imm;
  std::uint8_t *place, *second;
  if (!c.writable<Word>(address, place) || (Singles == 2 && !c.writable<Word>(address + 4, second)))
    return float_store_elsewhere<Singles>(c, op);
  c.spend(Singles);
  put_to(place, c.s[op->d]);
  if (Singles == 2) put_to(place + 4, c.s[op->d + 1u]);
  return next(op);
}
/// a: singles; shift bit 0: write back, bit 1: decrement before.
template <bool Load>
[[gnu::noinline]] const Op* float_multiple_elsewhere(Cpu& c, const Op* op) {
  const Op* const after = next(op);
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
template <bool Load>
const Op* float_multiple(Cpu& c, const Op* op) {
  if (!c.fp_ready) return c.once_fp_is_ready(op);
  const Word bytes = 4u * op->a, base = c.r[op->n];
  const Word start = op->shift & 2 ? base - bytes : base, last = start + bytes - 4;
  std::conditional_t<Load, const std::uint8_t*, std::uint8_t*> place, end;
  const bool here = [&] {
    if constexpr (Load) return c.readable<Word>(last, end) && c.readable<Word>(start, place);
    if constexpr (!Load) return c.writable<Word>(last, end) && c.writable<Word>(start, place);
  }();
  if (!here) return float_multiple_elsewhere<Load>(c, op);
  c.spend(op->a);
  for (unsigned i = 0; i < op->a; ++i)
    if constexpr (Load)
      c.s[op->d + i] = taken_from<Word>(place + 4 * i);
    else
      put_to(place + 4 * i, c.s[op->d + i]);
  if (op->shift & 1) c.r[op->n] = op->shift & 2 ? start : base + bytes;
  return next(op);
}

}  // namespace stillrotor::io::cortexm
