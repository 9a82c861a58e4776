// Data processing: shifts, arithmetic, logic, bit fields, multiplication, division, saturation, and
// the parallel instructions.
//
// Source ARM DDI 0403E: A2.2.1 integer arithmetic, A7.4.2 shifts, A7.7 instructions.
#pragma once

#include <bit>

#include "io/mcu/cortexm/cpu.hpp"

namespace stillrotor::io::cortexm {

enum class Alu : std::uint8_t { and_, bic, orr, orn, eor, mov, mvn, add, adc, sbc, sub, rsb };
enum class Operand : std::uint8_t { immediate, plain, lsl, lsr, asr, ror, rrx };
enum class Keep : std::uint8_t { result, stack_pointer, flags_only };  // flags_only: TST, CMP ...
using Signed = std::int32_t;

constexpr Word sign_extended(Word value, unsigned bits) noexcept {
  const Word sign = Word{1} << (bits - 1);
  return ((value & (sign | (sign - 1))) ^ sign) - sign;
}

/// The second operand, and the shifter's carry where the flags ask for it. Amounts: 1 to 31, LSR
/// and ASR to 32 (A7.4.2).
template <Operand K, bool WithCarry>
Word operand(Cpu& c, const Op* op, Word& carry) noexcept {
  if constexpr (K == Operand::immediate) {
    if constexpr (WithCarry) carry = op->carry == keep_carry ? c.flags.carry : op->carry;
    return op->imm;
  }
  const Word value = c.r[op->m];
  const unsigned by = op->shift;
  if constexpr (K == Operand::lsl) {
    if constexpr (WithCarry) carry = value >> (32 - by) & 1;
    return value << by;
  }
  if constexpr (K == Operand::lsr) {
    if constexpr (WithCarry) carry = value >> (by - 1) & 1;
    return by == 32 ? 0 : value >> by;
  }
  if constexpr (K == Operand::asr) {
    if constexpr (WithCarry) carry = value >> (by - 1) & 1;
    return static_cast<Word>(static_cast<Signed>(value) >> (by == 32 ? 31 : by));
  }
  if constexpr (K == Operand::ror) {
    const Word result = std::rotr(value, static_cast<int>(by));
    if constexpr (WithCarry) carry = result >> 31;
    return result;
  }
  if constexpr (K == Operand::rrx) {
    if constexpr (WithCarry) carry = value & 1;
    return c.flags.carry << 31 | value >> 1;
  }
  if constexpr (WithCarry) carry = c.flags.carry;
  return value;
}

template <bool SetFlags>
Word add_with_carry(Cpu& c, Word x, Word y, Word carry_in) noexcept {
  const std::uint64_t sum = std::uint64_t{x} + y + carry_in;
  const Word result = static_cast<Word>(sum);
  if constexpr (SetFlags) {
    c.set_nz(result);
    c.flags.carry = static_cast<Word>(sum >> 32);
    c.flags.overflow = (~(x ^ y) & (x ^ result)) >> 31;
  }
  return result;
}

template <bool SetFlags>
Word add(Cpu& c, Word x, Word y) noexcept {
  const Word result = x + y;
  if constexpr (SetFlags) {
    c.set_nz(result);
    c.flags.carry = result < x;
    c.flags.overflow = (~(x ^ y) & (x ^ result)) >> 31;
  }
  return result;
}
/// Carry: no borrow.
template <bool SetFlags>
Word subtract(Cpu& c, Word x, Word y) noexcept {
  const Word result = x - y;
  if constexpr (SetFlags) {
    c.set_nz(result);
    c.flags.carry = x >= y;
    c.flags.overflow = ((x ^ y) & (x ^ result)) >> 31;
  }
  return result;
}

template <Alu F, Operand K, bool SetFlags, Keep Where = Keep::result>
const Op* data(Cpu& c, const Op* op) {
  constexpr bool logical = F <= Alu::mvn;
  Word carry = 0;
  const Word y = operand < K, logical && SetFlags > (c, op, carry);
  const Word x = F == Alu::mov || F == Alu::mvn ? 0 : c.r[op->n];
  Word result = 0;
  if constexpr (F == Alu::and_) result = x & y;
  if constexpr (F == Alu::bic) result = x & ~y;
  if constexpr (F == Alu::orr) result = x | y;
  if constexpr (F == Alu::orn) result = x | ~y;
  if constexpr (F == Alu::eor) result = x ^ y;
  if constexpr (F == Alu::mov) result = y;
  if constexpr (F == Alu::mvn) result = ~y;
  if constexpr (F == Alu::add) result = add<SetFlags>(c, x, y);
  if constexpr (F == Alu::adc) result = add_with_carry<SetFlags>(c, x, y, c.flags.carry);
  if constexpr (F == Alu::sbc) result = add_with_carry<SetFlags>(c, x, ~y, c.flags.carry);
  if constexpr (F == Alu::sub) result = subtract<SetFlags>(c, x, y);
  if constexpr (F == Alu::rsb) result = subtract<SetFlags>(c, y, x);
  if constexpr (logical && SetFlags) {
    c.set_nz(result);
    c.flags.carry = carry;
  }
  if constexpr (Where == Keep::result) c.r[op->d] = result;
  if constexpr (Where == Keep::stack_pointer) c.r[13] = result & ~Word{3};
  return next(op);
}

/// All seven operands of one operation, for a table.
template <Alu F, bool SetFlags, Keep Where = Keep::result>
Handler data_with(Operand kind) noexcept {
  switch (kind) {
    case Operand::immediate:
      return data<F, Operand::immediate, SetFlags, Where>;
    case Operand::plain:
      return data<F, Operand::plain, SetFlags, Where>;
    case Operand::lsl:
      return data<F, Operand::lsl, SetFlags, Where>;
    case Operand::lsr:
      return data<F, Operand::lsr, SetFlags, Where>;
    case Operand::asr:
      return data<F, Operand::asr, SetFlags, Where>;
    case Operand::ror:
      return data<F, Operand::ror, SetFlags, Where>;
    case Operand::rrx:
      return data<F, Operand::rrx, SetFlags, Where>;
  }
  return nullptr;
}

/// The operand that {type, imm5} name (A7.4.2, DecodeImmShift).
inline Operand shift_kind(Word type, Word amount, Op& op) noexcept {
  op.shift = static_cast<std::uint8_t>(amount == 0 && (type == 1 || type == 2) ? 32 : amount);
  if (type == 0) return amount == 0 ? Operand::plain : Operand::lsl;
  if (type == 1) return Operand::lsr;
  if (type == 2) return Operand::asr;
  return amount == 0 ? Operand::rrx : Operand::ror;
}

/// Shift by a register's low byte (A7.4.2, Shift_C). Rn is shifted by Rm.
template <Operand K, bool SetFlags>
const Op* shift_by_register(Cpu& c, const Op* op) {
  const Word value = c.r[op->n], by = c.r[op->m] & 0xff;
  Word result = value, carry = c.flags.carry;
  if (by != 0) {
    if constexpr (K == Operand::lsl) {
      result = by < 32 ? value << by : 0;
      carry = by <= 32 ? value >> (32 - by) & 1 : 0;
    } else if constexpr (K == Operand::lsr) {
      result = by < 32 ? value >> by : 0;
      carry = by <= 32 ? value >> (by - 1) & 1 : 0;
    } else if constexpr (K == Operand::asr) {
      const Word most = by < 32 ? by : 31;
      result = static_cast<Word>(static_cast<Signed>(value) >> most);
      carry = by < 32 ? value >> (by - 1) & 1 : value >> 31;
    } else {
      result = std::rotr(value, static_cast<int>(by & 31));
      carry = result >> 31;
    }
  }
  c.r[op->d] = result;
  if constexpr (SetFlags) {
    c.set_nz(result);
    c.flags.carry = carry;
  }
  return next(op);
}

/// Anything that computes Rd from the registers and touches nothing else.
template <auto F>
const Op* compute(Cpu& c, const Op* op) {
  c.r[op->d] = F(c, op);
  return next(op);
}

// --- moves and bit fields: width in shift, place in imm ---------------------------------------
inline Word move_top(Cpu& c, const Op* op) noexcept {
  return (c.r[op->d] & 0xffff) | op->imm << 16;
}
constexpr Word ones(unsigned count) noexcept { return count == 32 ? ~Word{0} : (1u << count) - 1; }
inline Word insert_field(Cpu& c, const Op* op) noexcept {  // BFC where n is 15: r[15] is kept 0
  const Word mask = ones(op->shift) << op->imm;
  return (c.r[op->d] & ~mask) | (c.r[op->n] << op->imm & mask);
}
inline Word unsigned_field(Cpu& c, const Op* op) noexcept {
  return c.r[op->n] >> op->imm & ones(op->shift);
}
inline Word signed_field(Cpu& c, const Op* op) noexcept {
  return sign_extended(c.r[op->n] >> op->imm, op->shift);
}
inline Word count_leading_zeros(Cpu& c, const Op* op) noexcept {
  return static_cast<Word>(std::countl_zero(c.r[op->m]));
}
inline Word reversed_bits(Cpu& c, const Op* op) noexcept {
  Word from = c.r[op->m], result = 0;
  for (int i = 0; i < 32; ++i, from >>= 1) result = result << 1 | (from & 1);
  return result;
}
inline Word reversed_bytes(Cpu& c, const Op* op) noexcept { return __builtin_bswap32(c.r[op->m]); }
inline Word reversed_halves(Cpu& c, const Op* op) noexcept {
  return std::rotr(__builtin_bswap32(c.r[op->m]), 16);
}
inline Word reversed_signed_half(Cpu& c, const Op* op) noexcept {
  return sign_extended(__builtin_bswap32(c.r[op->m]) >> 16, 16);
}
/// SXTB and its like, added to Rn where that is not 15; shift: the rotation.
template <unsigned Bits, bool Sign>
Word extend_add(Cpu& c, const Op* op) noexcept {
  const Word rotated = std::rotr(c.r[op->m], op->shift);
  const Word value = Sign ? sign_extended(rotated, Bits) : rotated & ones(Bits);
  return op->n == 15 ? value : c.r[op->n] + value;
}
template <bool Sign>
Word extend_add_16(Cpu& c, const Op* op) noexcept {
  const Word rotated = std::rotr(c.r[op->m], op->shift);
  const Word base = op->n == 15 ? 0 : c.r[op->n];
  const auto one = [](Word byte) { return Sign ? sign_extended(byte, 8) : byte & 0xff; };
  return ((base + one(rotated)) & 0xffff) | ((base >> 16) + one(rotated >> 16)) << 16;
}
inline Word pack_halves(Cpu& c, const Op* op) noexcept {  // a: TB (ASR), else BT (LSL)
  const Word m = c.r[op->m], n = c.r[op->n];
  if (op->a == 0) return (n & 0xffff) | ((m << op->shift) & 0xffff0000);
  return (n & 0xffff0000) | (static_cast<Word>(static_cast<Signed>(m) >> op->shift) & 0xffff);
}
inline Word selected_bytes(Cpu& c, const Op* op) noexcept {
  Word result = 0;
  for (unsigned i = 0; i < 4; ++i)
    result |= (c.ge >> i & 1 ? c.r[op->n] : c.r[op->m]) & 0xffu << (8 * i);
  return result;
}

// --- saturation (A2.2.1) ----------------------------------------------------------------------
inline Word saturate_signed(Cpu& c, std::int64_t value, unsigned bits) noexcept {
  const std::int64_t top = (std::int64_t{1} << (bits - 1)) - 1;
  const std::int64_t kept = value > top ? top : value < -top - 1 ? -top - 1 : value;
  if (kept != value) c.saturated = true;
  return static_cast<Word>(kept);
}
inline Word saturate_unsigned(Cpu& c, std::int64_t value, unsigned bits) noexcept {
  const std::int64_t top = (std::int64_t{1} << bits) - 1;
  const std::int64_t kept = value > top ? top : value < 0 ? 0 : value;
  if (kept != value) c.saturated = true;
  return static_cast<Word>(kept);
}
/// SSAT, USAT: imm bits, Rn shifted left by shift, or right where a is set.
template <bool Sign>
Word saturate_one(Cpu& c, const Op* op) noexcept {
  const Signed n = static_cast<Signed>(c.r[op->n]);
  const Signed value = op->a ? n >> (op->shift == 32 ? 31 : op->shift)
                             : static_cast<Signed>(static_cast<Word>(n) << op->shift);
  return Sign ? saturate_signed(c, value, op->imm) : saturate_unsigned(c, value, op->imm);
}
constexpr Signed low(Word v) noexcept { return static_cast<std::int16_t>(v); }
constexpr Signed high(Word v) noexcept { return static_cast<std::int16_t>(v >> 16); }
template <bool Sign>
Word saturate_two(Cpu& c, const Op* op) noexcept {
  const Word n = c.r[op->n];
  const auto one = [&](Signed v) {
    return (Sign ? saturate_signed(c, v, op->imm) : saturate_unsigned(c, v, op->imm)) & 0xffff;
  };
  return one(low(n)) | one(high(n)) << 16;
}
template <bool Subtract, bool Doubled>
Word saturating_add(Cpu& c, const Op* op) noexcept {
  std::int64_t n = static_cast<Signed>(c.r[op->n]);
  if (Doubled) n = static_cast<Signed>(saturate_signed(c, 2 * n, 32));
  const std::int64_t m = static_cast<Signed>(c.r[op->m]);
  return saturate_signed(c, Subtract ? m - n : m + n, 32);
}

// --- parallel addition and subtraction (A7.7, SADD8 and its like) -----------------------------
enum class Lane : std::uint8_t { modulo, saturating, halving };
/// One lane of Bits bits: what is kept, and the GE bit.
template <unsigned Bits, bool Sign, Lane L>
Word lane(std::int32_t value, bool subtract, bool& ge) noexcept {
  constexpr std::int32_t top = Sign ? (1 << (Bits - 1)) - 1 : (1 << Bits) - 1;
  constexpr std::int32_t bottom = Sign ? -top - 1 : 0;
  ge = Sign || subtract ? value >= 0 : value > top;
  if (L == Lane::saturating) value = value > top ? top : value < bottom ? bottom : value;
  if (L == Lane::halving) value >>= 1;
  return static_cast<Word>(value) & ones(Bits);
}
/// Which lanes subtract and whether Rm's halves change places.
enum class Pattern : std::uint8_t { add16, asx, sax, sub16, add8, sub8 };
template <Pattern P, bool Sign, Lane L>
Word parallel(Cpu& c, const Op* op) noexcept {
  constexpr unsigned bits = P >= Pattern::add8 ? 8 : 16;
  const Word n = c.r[op->n];
  const Word m = P == Pattern::asx || P == Pattern::sax ? std::rotr(c.r[op->m], 16) : c.r[op->m];
  Word result = 0, all_ge = 0;
  for (unsigned i = 0; i < 32 / bits; ++i) {
    const auto take = [&](Word v) {
      v = v >> (bits * i) & ones(bits);
      return static_cast<Signed>(Sign ? sign_extended(v, bits) : v);
    };
    const bool subtract = P == Pattern::sub16 || P == Pattern::sub8 ||
                          (P == Pattern::asx && i == 0) || (P == Pattern::sax && i == 1);
    bool ge = false;
    result |= lane<bits, Sign, L>(subtract ? take(n) - take(m) : take(n) + take(m), subtract, ge)
              << (bits * i);
    if (ge) all_ge |= bits == 8 ? 1u << i : 3u << (2 * i);
  }
  if (L == Lane::modulo) c.ge = static_cast<std::uint8_t>(all_ge);
  return result;
}
inline Word sum_of_differences(Cpu& c, const Op* op) noexcept {  // a 15: USAD8
  Word sum = op->a == 15 ? 0 : c.r[op->a];
  for (unsigned i = 0; i < 32; i += 8) {
    const Signed n = c.r[op->n] >> i & 0xff, m = c.r[op->m] >> i & 0xff;
    sum += static_cast<Word>(n > m ? n - m : m - n);
  }
  return sum;
}

// --- multiplication and division --------------------------------------------------------------
inline Word multiply(Cpu& c, const Op* op) noexcept { return c.r[op->n] * c.r[op->m]; }
inline Word multiply_add(Cpu& c, const Op* op) noexcept {
  return c.r[op->a] + c.r[op->n] * c.r[op->m];
}
inline Word multiply_subtract(Cpu& c, const Op* op) noexcept {
  return c.r[op->a] - c.r[op->n] * c.r[op->m];
}
inline const Op* multiply_flags(Cpu& c, const Op* op) {  // MULS: C and V stay
  c.set_nz(c.r[op->d] = multiply(c, op));
  return next(op);
}
/// An accumulation of 32 bits that sets Q when it overflows; a 15: none.
inline Word accumulate(Cpu& c, const Op* op, std::int64_t product) noexcept {
  const std::int64_t sum = product + (op->a == 15 ? 0 : static_cast<Signed>(c.r[op->a]));
  if (sum != static_cast<Signed>(sum)) c.saturated = true;
  return static_cast<Word>(sum);
}
/// Halves named by two bits in imm: N (bit 1), M (bit 0).
inline Signed half_of(Word value, Word top) noexcept { return top ? high(value) : low(value); }
inline Word multiply_halves(Cpu& c, const Op* op) noexcept {  // SMLAxy, SMULxy
  return accumulate(
      c, op, std::int64_t{half_of(c.r[op->n], op->imm & 2)} * half_of(c.r[op->m], op->imm & 1));
}
inline Word multiply_word_half(Cpu& c, const Op* op) noexcept {  // SMLAWy, SMULWy
  const std::int64_t n = static_cast<Signed>(c.r[op->n]);
  return accumulate(c, op, (n * half_of(c.r[op->m], op->imm & 1)) >> 16);
}
/// Both products of halves; imm bit 0: Rm's halves change places.
inline void products(Cpu& c, const Op* op, std::int64_t& first, std::int64_t& second) noexcept {
  const Word n = c.r[op->n], m = std::rotr(c.r[op->m], op->imm & 1 ? 16 : 0);
  first = std::int64_t{low(n)} * low(m);
  second = std::int64_t{high(n)} * high(m);
}
template <bool Subtract>
Word dual_multiply(Cpu& c, const Op* op) noexcept {  // SMLAD, SMUAD, SMLSD, SMUSD
  std::int64_t first, second;
  products(c, op, first, second);
  return accumulate(c, op, Subtract ? first - second : first + second);
}
/// SMMLA, SMMLS, SMMUL: the top word; imm bit 0 rounds.
template <bool Subtract>
Word multiply_top(Cpu& c, const Op* op) noexcept {
  const std::int64_t product =
      std::int64_t{static_cast<Signed>(c.r[op->n])} * static_cast<Signed>(c.r[op->m]);
  const std::uint64_t base = op->a == 15 ? 0 : std::uint64_t{c.r[op->a]} << 32;
  const auto p = static_cast<std::uint64_t>(product);
  const std::uint64_t sum = (Subtract ? base - p : base + p) + (op->imm & 1 ? 0x80000000u : 0);
  return static_cast<Word>(sum >> 32);
}
/// 64-bit results: low word to Ra, high word to Rd (RdLo, RdHi of the manual).
template <auto F>
const Op* compute_long(Cpu& c, const Op* op) {
  const std::uint64_t before = std::uint64_t{c.r[op->d]} << 32 | c.r[op->a];
  const std::uint64_t result = F(c, op, before);
  c.r[op->a] = static_cast<Word>(result);
  c.r[op->d] = static_cast<Word>(result >> 32);
  return next(op);
}
inline std::uint64_t product_unsigned(Cpu& c, const Op* op) noexcept {
  return std::uint64_t{c.r[op->n]} * c.r[op->m];
}
inline std::uint64_t product_signed(Cpu& c, const Op* op) noexcept {
  return static_cast<std::uint64_t>(std::int64_t{static_cast<Signed>(c.r[op->n])} *
                                    static_cast<Signed>(c.r[op->m]));
}
template <bool Sign, bool Add>
std::uint64_t long_multiply(Cpu& c, const Op* op, std::uint64_t before) noexcept {
  return (Sign ? product_signed(c, op) : product_unsigned(c, op)) + (Add ? before : 0);
}
inline std::uint64_t multiply_add_both(Cpu& c, const Op* op, std::uint64_t before) noexcept {
  return product_unsigned(c, op) + (before >> 32) + (before & 0xffffffff);  // UMAAL
}
inline std::uint64_t long_halves(Cpu& c, const Op* op, std::uint64_t before) noexcept {
  return before + static_cast<std::uint64_t>(std::int64_t{half_of(c.r[op->n], op->imm & 2)} *
                                             half_of(c.r[op->m], op->imm & 1));
}
template <bool Subtract>
std::uint64_t long_dual(Cpu& c, const Op* op, std::uint64_t before) noexcept {
  std::int64_t first, second;
  products(c, op, first, second);
  return before + static_cast<std::uint64_t>(Subtract ? first - second : first + second);
}
template <bool Sign>
const Op* divide(Cpu& c, const Op* op) {
  const Word n = c.r[op->n], m = c.r[op->m];
  if (m == 0) {
    if (c.trap_divide_by_zero) return c.usage_fault(usage::divide_by_zero, op);
    c.r[op->d] = 0;
    return next(op);
  }
  // Towards zero; the one quotient that does not fit is its dividend (A7.7, SDIV).
  const bool whole = Sign && n == 0x80000000 && m == ~Word{0};
  const Word quotient = whole  ? n
                        : Sign ? static_cast<Word>(static_cast<Signed>(n) / static_cast<Signed>(m))
                               : n / m;
  c.r[op->d] = quotient;
  const Word size = Sign && static_cast<Signed>(quotient) < 0 ? -quotient : quotient;
  c.spend(1 + (static_cast<unsigned>(std::bit_width(size)) + 3) / 4);
  return next(op);
}

}  // namespace stillrotor::io::cortexm
