#include "io/mcu/cortexm/float_arithmetic.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace stillrotor::io::cortexm::fp {
namespace {

using Wide = std::uint64_t;
__extension__ using Widest = unsigned __int128;

enum class Kind : std::uint8_t { zero, number, infinity, quiet, signalling };

/// A number is mantissa * 2^exponent; its mantissa has bit 23 as the highest.
struct Unpacked {
  Kind kind;
  bool negative;
  int exponent;
  Word mantissa;
  bool is_nan() const noexcept { return kind >= Kind::quiet; }
};

constexpr Word zero(bool negative) noexcept { return negative ? sign_bit : 0; }
constexpr Word infinity(bool negative) noexcept { return zero(negative) | 0x7f800000; }

Unpacked unpack(Word a, Word& fpscr) noexcept {
  Unpacked u{Kind::number, (a & sign_bit) != 0, static_cast<int>(a >> 23 & 0xff), a & 0x7fffff};
  if (u.exponent == 0xff) {
    u.kind = u.mantissa == 0 ? Kind::infinity : u.mantissa >> 22 ? Kind::quiet : Kind::signalling;
    return u;
  }
  if (u.exponent == 0) {
    if (u.mantissa != 0 && (fpscr & flush_to_zero)) {
      fpscr |= input_denormal;
      u.mantissa = 0;
    }
    if (u.mantissa == 0) {
      u.kind = Kind::zero;
      return u;
    }
    const int up = std::countl_zero(u.mantissa) - 8;
    u.mantissa <<= up;
    u.exponent = 1 - up - 150;
    return u;
  }
  u.mantissa |= 0x800000;
  u.exponent -= 150;
  return u;
}

Word invalid_operation(Word& fpscr) noexcept {
  fpscr |= invalid;
  return default_nan;
}

Word processed_nan(Word a, Kind kind, Word& fpscr) noexcept {
  if (kind == Kind::signalling) {
    fpscr |= invalid;
    a |= 1u << 22;
  }
  return fpscr & default_nan_mode ? default_nan : a;
}
/// The first signalling NaN, else the first quiet one (FPProcessNaNs, FPProcessNaNs3).
template <class... Rest>
bool process_nans(Word& result, Word& fpscr, const Rest&... operands) noexcept {
  for (const Kind wanted : {Kind::signalling, Kind::quiet}) {
    const auto look = [&](const auto& operand) {
      if (operand.second.kind != wanted) return false;
      result = processed_nan(operand.first, wanted, fpscr);
      return true;
    };
    if ((look(operands) || ...)) return true;
  }
  return false;
}
struct Operand {
  Word first;
  Unpacked second;
};
Operand take(Word a, Word& fpscr) noexcept { return {a, unpack(a, fpscr)}; }

template <class T>
T shifted_right_jamming(T value, int by) noexcept {
  constexpr int bits = 8 * sizeof(T);
  if (by <= 0) return value;
  if (by >= bits) return value != 0;
  return static_cast<T>(value >> by | ((value & ((T{1} << by) - 1)) != 0));
}

bool rounds_up(Word mode, bool negative, bool odd, Wide rest, Wide half) noexcept {
  switch (mode >> 22 & 3) {
    case 0:
      return rest > half || (rest == half && odd);
    case 1:
      return rest != 0 && !negative;
    case 2:
      return rest != 0 && negative;
    default:
      return false;
  }
}

/// FPRound. mantissa * 2^exponent, not 0; bit 0 may stand for all that lies below.
template <int ExponentBits, int FractionBits>
Word rounded(bool negative, int exponent, Wide mantissa, Word& fpscr) noexcept {
  constexpr bool is_half = FractionBits == 10;
  constexpr int bias = (1 << (ExponentBits - 1)) - 1;
  constexpr Word sign_place = 1u << (ExponentBits + FractionBits);
  const Word sign = negative ? sign_place : 0;
  const int up = std::countl_zero(mantissa);
  mantissa <<= up;
  int biased = exponent - up + 63 + bias;
  if (biased < 1) {
    if (!is_half && (fpscr & flush_to_zero)) {
      fpscr |= underflowed;
      return sign;
    }
    mantissa = shifted_right_jamming(mantissa, 1 - biased);
    biased = 0;
  }
  constexpr int below = 63 - FractionBits;
  const Wide rest = mantissa & ((Wide{1} << below) - 1), half = Wide{1} << (below - 1);
  Word kept = static_cast<Word>(mantissa >> below);
  if (biased == 0 && rest != 0) fpscr |= underflowed;
  if (rounds_up(fpscr, negative, kept & 1, rest, half)) ++kept;
  if (biased == 0 && kept >> FractionBits) biased = 1;
  if (kept >> (FractionBits + 1)) {
    ++biased;
    kept >>= 1;
  }
  constexpr int top = (1 << ExponentBits) - 1;
  if (is_half && (fpscr & alternative_half)) {
    if (biased > top) {
      fpscr |= invalid;
      return sign | (sign_place - 1);
    }
  } else if (biased >= top) {
    fpscr |= overflowed | inexact;
    const Word mode = fpscr >> 22 & 3;
    const bool to_infinity = mode == 0 || (mode == 1 && !negative) || (mode == 2 && negative);
    const Word infinite = static_cast<Word>(top) << FractionBits;
    return sign | (to_infinity ? infinite : infinite - 1);
  }
  if (rest != 0) fpscr |= inexact;
  return sign | static_cast<Word>(biased) << FractionBits | (kept & ((1u << FractionBits) - 1));
}
Word single(bool negative, int exponent, Wide mantissa, Word& fpscr) noexcept {
  return rounded<8, 23>(negative, exponent, mantissa, fpscr);
}

Word exact_zero(Word fpscr) noexcept { return zero((fpscr & rounding) == 2u << 22); }

Word add_numbers(const Unpacked& a, const Unpacked& b, Word& fpscr) noexcept {
  constexpr int room = 38;
  const bool a_first = a.exponent >= b.exponent;
  const Unpacked &big = a_first ? a : b, &small = a_first ? b : a;
  const Wide x = Wide{big.mantissa} << room;
  const Wide y = shifted_right_jamming(Wide{small.mantissa} << room, big.exponent - small.exponent);
  const int exponent = big.exponent - room;
  if (a.negative == b.negative) return single(a.negative, exponent, x + y, fpscr);
  if (x == y) return exact_zero(fpscr);
  return x > y ? single(big.negative, exponent, x - y, fpscr)
               : single(small.negative, exponent, y - x, fpscr);
}

}  // namespace

Word add(Word a, Word b, Word& fpscr) noexcept {
  const Operand x = take(a, fpscr), y = take(b, fpscr);
  Word result = 0;
  if (process_nans(result, fpscr, x, y)) return result;
  const Unpacked &u = x.second, &v = y.second;
  if (u.kind == Kind::infinity || v.kind == Kind::infinity) {
    if (u.kind == v.kind && u.negative != v.negative) return invalid_operation(fpscr);
    return infinity(u.kind == Kind::infinity ? u.negative : v.negative);
  }
  if (u.kind == Kind::zero && v.kind == Kind::zero)
    return u.negative == v.negative ? zero(u.negative) : exact_zero(fpscr);
  if (u.kind == Kind::zero) return single(v.negative, v.exponent, v.mantissa, fpscr);
  if (v.kind == Kind::zero) return single(u.negative, u.exponent, u.mantissa, fpscr);
  return add_numbers(u, v, fpscr);
}

Word subtract(Word a, Word b, Word& fpscr) noexcept {
  // A NaN keeps its sign (FPSub negates numbers only).
  const bool is_nan = (b & ~sign_bit) > 0x7f800000;
  return add(a, is_nan ? b : negated(b), fpscr);
}

Word multiply(Word a, Word b, Word& fpscr) noexcept {
  const Operand x = take(a, fpscr), y = take(b, fpscr);
  Word result = 0;
  if (process_nans(result, fpscr, x, y)) return result;
  const Unpacked &u = x.second, &v = y.second;
  const bool negative = u.negative != v.negative;
  const bool infinite = u.kind == Kind::infinity || v.kind == Kind::infinity;
  const bool none = u.kind == Kind::zero || v.kind == Kind::zero;
  if (infinite && none) return invalid_operation(fpscr);
  if (infinite) return infinity(negative);
  if (none) return zero(negative);
  return single(negative, u.exponent + v.exponent, Wide{u.mantissa} * v.mantissa, fpscr);
}

Word divide(Word a, Word b, Word& fpscr) noexcept {
  const Operand x = take(a, fpscr), y = take(b, fpscr);
  Word result = 0;
  if (process_nans(result, fpscr, x, y)) return result;
  const Unpacked &u = x.second, &v = y.second;
  const bool negative = u.negative != v.negative;
  if (u.kind == v.kind && u.kind != Kind::number) return invalid_operation(fpscr);
  if (u.kind == Kind::infinity) return infinity(negative);
  if (v.kind == Kind::zero) {
    fpscr |= divided_by_zero;
    return infinity(negative);
  }
  if (u.kind == Kind::zero || v.kind == Kind::infinity) return zero(negative);
  constexpr int room = 38;
  const Wide dividend = Wide{u.mantissa} << room;
  const Wide quotient = dividend / v.mantissa | (dividend % v.mantissa != 0);
  return single(negative, u.exponent - v.exponent - room, quotient, fpscr);
}

Word multiply_add(Word addend, Word a, Word b, Word& fpscr) noexcept {
  const Operand z = take(addend, fpscr), x = take(a, fpscr), y = take(b, fpscr);
  const Unpacked &w = z.second, &u = x.second, &v = y.second;
  const bool infinite = u.kind == Kind::infinity || v.kind == Kind::infinity;
  const bool none = u.kind == Kind::zero || v.kind == Kind::zero;
  Word result = 0;
  if (w.kind == Kind::quiet && infinite && none) return invalid_operation(fpscr);
  if (process_nans(result, fpscr, z, x, y)) return result;
  const bool negative = u.negative != v.negative;
  if ((infinite && none) || (infinite && w.kind == Kind::infinity && w.negative != negative))
    return invalid_operation(fpscr);
  if (infinite) return infinity(negative);
  if (w.kind == Kind::infinity) return infinity(w.negative);
  if (none) {
    if (w.kind == Kind::zero) return w.negative == negative ? zero(negative) : exact_zero(fpscr);
    return single(w.negative, w.exponent, w.mantissa, fpscr);
  }
  const Wide product = Wide{u.mantissa} * v.mantissa;
  const int exponent = u.exponent + v.exponent;
  if (w.kind == Kind::zero) return single(negative, exponent, product, fpscr);
  // Both with the highest bit at 125, so that a sum fits and what is shifted out only jams.
  constexpr int top = 125;
  const int product_up = top - (63 - std::countl_zero(product)), addend_up = top - 23;
  Widest p = static_cast<Widest>(product) << product_up;
  Widest q = static_cast<Widest>(w.mantissa) << addend_up;
  const int p_exponent = exponent - product_up, q_exponent = w.exponent - addend_up;
  const int common = std::max(p_exponent, q_exponent);
  p = shifted_right_jamming(p, common - p_exponent);
  q = shifted_right_jamming(q, common - q_exponent);
  bool sum_negative = negative;
  Widest sum;
  if (negative == w.negative) {
    sum = p + q;
  } else {
    if (p == q) return exact_zero(fpscr);
    sum = p > q ? p - q : q - p;
    if (q > p) sum_negative = w.negative;
  }
  const auto upper = static_cast<Wide>(sum >> 64);
  const int width =
      upper != 0 ? 128 - std::countl_zero(upper) : 64 - std::countl_zero(static_cast<Wide>(sum));
  const int down = std::max(0, width - 63);
  return single(sum_negative, common + down, static_cast<Wide>(shifted_right_jamming(sum, down)),
                fpscr);
}

Word square_root(Word a, Word& fpscr) noexcept {
  const Operand x = take(a, fpscr);
  Word result = 0;
  if (process_nans(result, fpscr, x)) return result;
  const Unpacked& u = x.second;
  if (u.kind == Kind::zero) return zero(u.negative);
  if (u.negative) return invalid_operation(fpscr);
  if (u.kind == Kind::infinity) return infinity(false);
  const int room = 38 + (u.exponent & 1);
  const Wide square = Wide{u.mantissa} << room;
  auto root = static_cast<Wide>(std::sqrt(static_cast<double>(square)));
  while (root * root > square) --root;
  while ((root + 1) * (root + 1) <= square) ++root;
  // One more bit below the root says whether it is exact.
  return single(false, (u.exponent - room) / 2 - 1, root << 1 | (root * root != square), fpscr);
}

Word compare(Word a, Word b, bool signal_quiet, Word& fpscr) noexcept {
  const Operand x = take(a, fpscr), y = take(b, fpscr);
  const Unpacked &u = x.second, &v = y.second;
  constexpr Word n = 8u << 28, z_and_c = 6u << 28, c = 2u << 28, c_and_v = 3u << 28;
  if (u.is_nan() || v.is_nan()) {
    if (u.kind == Kind::signalling || v.kind == Kind::signalling || signal_quiet) fpscr |= invalid;
    return c_and_v;
  }
  // As whole numbers: sign and magnitude. Flushed operands are zeros.
  const auto order = [](Word bits, const Unpacked& value) {
    const auto magnitude =
        value.kind == Kind::zero ? std::int64_t{0} : std::int64_t{bits & ~sign_bit};
    return value.negative ? -magnitude : magnitude;
  };
  const std::int64_t p = order(a, u), q = order(b, v);
  return p == q ? z_and_c : p < q ? n : c;
}

Word to_fixed(Word a, unsigned bits, unsigned fraction, bool is_unsigned, bool towards_zero,
              Word& fpscr) noexcept {
  const Unpacked u = unpack(a, fpscr);
  if (u.is_nan()) {
    fpscr |= invalid;
    return 0;
  }
  if (u.kind == Kind::zero) return 0;
  const std::int64_t top = (std::int64_t{1} << (is_unsigned ? bits : bits - 1)) - 1;
  const std::int64_t bottom = is_unsigned ? 0 : -top - 1;
  const auto saturated = [&] {
    fpscr |= invalid;
    return static_cast<Word>(u.negative ? bottom : top);
  };
  const int exponent = u.exponent + static_cast<int>(fraction);
  if (u.kind == Kind::infinity || exponent > 10) return saturated();
  // 24 bits of mantissa over 29 bits of fraction; what lies below those jams.
  constexpr int below = 29;
  const Wide scaled = exponent + below >= 0
                          ? Wide{u.mantissa} << (exponent + below)
                          : shifted_right_jamming(Wide{u.mantissa}, -(exponent + below));
  const Wide rest = scaled & ((Wide{1} << below) - 1);
  auto whole = static_cast<std::int64_t>(scaled >> below);
  const Word mode = towards_zero ? rounding : fpscr;
  if (rounds_up(mode, u.negative, whole & 1, rest, Wide{1} << (below - 1))) ++whole;
  if (u.negative) whole = -whole;
  if (whole > top || whole < bottom) return saturated();
  if (rest != 0) fpscr |= inexact;
  return static_cast<Word>(whole);
}

Word from_fixed(Word value, unsigned bits, unsigned fraction, bool is_unsigned, bool nearest,
                Word& fpscr) noexcept {
  if (bits < 32) value &= (1u << bits) - 1;
  const bool negative = !is_unsigned && value >> (bits - 1) & 1;
  if (negative) value = (1u << (bits - 1) << 1) - value;
  if (value == 0) return 0;
  Word modes = nearest ? fpscr & ~rounding : fpscr;
  const Word result = single(negative, -static_cast<int>(fraction), value, modes);
  fpscr |= modes & inexact;
  return result;
}

Word half_to_single(Word half, Word& fpscr) noexcept {
  half &= 0xffff;
  const bool negative = half >> 15;
  const Word exponent = half >> 10 & 0x1f, fraction = half & 0x3ff;
  if (exponent == 0x1f && !(fpscr & alternative_half)) {
    if (fraction == 0) return infinity(negative);
    if (!(fraction >> 9)) fpscr |= invalid;
    if (fpscr & default_nan_mode) return default_nan;
    return zero(negative) | 0x7fc00000 | (fraction & 0x1ff) << 13;
  }
  if (exponent == 0 && fraction == 0) return zero(negative);
  const Word mantissa = exponent == 0 ? fraction : fraction | 0x400;
  const int scale = (exponent == 0 ? 1 : static_cast<int>(exponent)) - 25;
  return single(negative, scale, mantissa, fpscr);
}

Word single_to_half(Word a, Word& fpscr) noexcept {
  const Unpacked u = unpack(a, fpscr);
  const Word sign = u.negative ? 0x8000 : 0;
  const bool alternative = fpscr & alternative_half;
  if (u.is_nan()) {
    if (u.kind == Kind::signalling || alternative) fpscr |= invalid;
    if (alternative) return sign;
    if (fpscr & default_nan_mode) return 0x7e00;
    return sign | 0x7e00 | (a >> 13 & 0x1ff);
  }
  if (u.kind == Kind::infinity) {
    if (!alternative) return sign | 0x7c00;
    fpscr |= invalid;
    return sign | 0x7fff;
  }
  if (u.kind == Kind::zero) return sign;
  return rounded<5, 10>(u.negative, u.exponent, u.mantissa, fpscr);
}

}  // namespace stillrotor::io::cortexm::fp
