// FPv4-SP: single precision, sixteen double registers that can only be moved (A6.4 to A6.9).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_float.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

/// A single register: four bits and, below them, one that stands elsewhere.
constexpr std::uint8_t single_reg(const Encoding& e, unsigned low, unsigned last) noexcept {
  return reg(e.field(low + 3, low) << 1 | Word{e.bit(last)});
}
/// The first single of a double register; 32 and up: not there.
constexpr Word double_reg(const Encoding& e, unsigned low, unsigned first) noexcept {
  return 2 * (Word{e.bit(first)} << 4 | e.field(low + 3, low));
}
void take(const Encoding& e, Op& op) {
  op.d = single_reg(e, 12, 22);
  op.n = single_reg(e, 16, 7);
  op.m = single_reg(e, 0, 5);
}

template <Handler Plain, Handler Negated, unsigned Cycles = 1>
Decoded three_operands(const Encoding& e, Op& op) {
  take(e, op);
  op.cycles = Cycles;
  return executes(op, e.bit(6) ? Negated : Plain);
}
Decoded division(const Encoding& e, Op& op) {
  if (e.bit(6)) return Decoded::undefined;
  take(e, op);
  op.cycles = 14;
  return executes(op, float_binary<Quotient>);
}
template <auto F, unsigned Cycles = 1>
Decoded one_operand(const Encoding& e, Op& op) {
  take(e, op);
  op.cycles = Cycles;
  return executes(op, float_unary<F>);
}
Decoded immediate(const Encoding& e, Op& op) {
  take(e, op);
  if (e.bit(5) || e.bit(7)) return Decoded::unpredictable;
  const Word imm8 = e.field(19, 16) << 4 | e.field(3, 0);
  const Word b = imm8 >> 6 & 1;
  op.imm = (imm8 >> 7) << 31 | (b ^ 1) << 30 | (b ? 0x1fu : 0u) << 25 | (imm8 & 0x3f) << 19;
  return executes(op, float_unary<float_immediate>);
}
Decoded half(const Encoding& e, Op& op) {
  take(e, op);
  op.shift = e.bit(7) ? 16 : 0;
  return executes(op, e.bit(16) ? float_unary<float_to_half> : float_unary<float_from_half>);
}
Decoded comparison(const Encoding& e, Op& op) {
  take(e, op);
  op.imm = Word{e.bit(7)} << 1 | Word{e.bit(16)};
  if (e.bit(16) && (e.bit(5) || e.field(3, 0) != 0)) return Decoded::unpredictable;
  return executes(op, float_compare);
}
Decoded from_integer(const Encoding& e, Op& op) {
  take(e, op);
  op.a = 32;
  op.imm = e.bit(7) ? 0 : 1;
  return executes(op, float_unary<float_from_fixed>);
}
Decoded to_integer(const Encoding& e, Op& op) {
  take(e, op);
  op.a = 32;
  op.imm = Word{e.bit(7)} << 1 | Word{!e.bit(16)};
  return executes(op, float_unary<float_to_fixed>);
}
Decoded fixed_point(const Encoding& e, Op& op) {
  op.d = op.m = single_reg(e, 12, 22);
  op.a = e.bit(7) ? 32 : 16;
  const Word taken = e.field(3, 0) << 1 | Word{e.bit(5)};
  if (taken > op.a) return Decoded::unpredictable;
  op.shift = reg(op.a - taken);
  op.imm = 2 | Word{e.bit(16)};
  return executes(op, e.bit(18) ? float_unary<float_to_fixed> : float_unary<float_from_fixed>);
}

// --- between core and floating-point registers ------------------------------------------------
Decoded core_and_single(const Encoding& e, Op& op) {
  op.n = single_reg(e, 16, 7);
  op.d = reg(e.field(15, 12));
  if (is_sp_or_pc(op.d) || e.field(6, 5) != 0 || e.field(3, 0) != 0) return Decoded::unpredictable;
  return executes(op, e.bit(20) ? float_to_core : float_from_core);
}
Decoded core_and_scalar(const Encoding& e, Op& op) {
  const Word n = double_reg(e, 16, 7) + e.bit(21);
  op.d = reg(e.field(15, 12));
  if (n >= 32) return Decoded::undefined;
  if (is_sp_or_pc(op.d) || e.field(3, 0) != 0) return Decoded::unpredictable;
  op.n = reg(n);
  return executes(op, e.bit(20) ? float_to_core : float_from_core);
}
Decoded status(const Encoding& e, Op& op) {
  op.d = reg(e.field(15, 12));
  const bool to_core = e.bit(20);
  if (e.field(19, 16) != 1 || op.d == 13 || (op.d == 15 && !to_core) || e.field(7, 5) != 0 ||
      e.field(3, 0) != 0)
    return Decoded::unpredictable;
  if (!to_core) return executes(op, status_from_core);
  return executes(op, op.d == 15 ? status_to_flags : status_to_core);
}
Decoded two_core(const Encoding& e, Op& op) {
  const bool to_core = e.bit(20), is_double = e.bit(8);
  const Word n = is_double ? double_reg(e, 0, 5) : single_reg(e, 0, 5);
  op.d = reg(e.field(15, 12));
  op.a = reg(e.field(19, 16));
  op.cycles = 2;
  if (n >= 32) return Decoded::undefined;
  if (n == 31 || is_sp_or_pc(op.d) || is_sp_or_pc(op.a) || (to_core && op.d == op.a))
    return Decoded::unpredictable;
  op.n = reg(n);
  return executes(op, to_core ? float_pair_to_core : float_pair_from_core);
}

// --- loads and stores -------------------------------------------------------------------------
Decoded load_or_store(const Encoding& e, Op& op) {
  const bool load = e.bit(20), is_double = e.bit(8);
  const Word d = is_double ? double_reg(e, 12, 22) : single_reg(e, 12, 22);
  if (d >= 32) return Decoded::undefined;
  op.d = reg(d);
  op.n = reg(e.field(19, 16));
  const Word offset = 4 * e.field(7, 0);
  op.imm = e.bit(23) ? offset : 0 - offset;
  if (op.n == 15) {
    if (!load) return Decoded::unpredictable;
    op.imm += e.aligned_pc();
  }
  if (is_double) return executes(op, load ? float_load<2> : float_store<2>);
  return executes(op, load ? float_load<1> : float_store<1>);
}
Decoded multiple(const Encoding& e, Op& op) {
  const bool load = e.bit(20), back = e.bit(21), up = e.bit(23), is_double = e.bit(8);
  const Word d = is_double ? double_reg(e, 12, 22) : single_reg(e, 12, 22);
  const Word singles = e.field(7, 0);
  if (e.bit(24) == up || (!up && !back)) return Decoded::undefined;
  if (d >= 32) return Decoded::undefined;
  op.n = reg(e.field(19, 16));
  if (op.n == 15 || singles == 0 || d + singles > 32 || (is_double && singles % 2 != 0))
    return Decoded::unpredictable;
  op.d = reg(d);
  op.a = reg(singles);
  op.shift = reg(Word{back} | Word{!up} << 1);
  return executes(op, load ? float_multiple<true> : float_multiple<false>);
}

constexpr Row rows[] = {
    // A6.5 data processing
    {0xffb00f10, 0xee000a00,
     three_operands<float_chained<false, false>, float_chained<false, true>, 3>},
    {0xffb00f10, 0xee100a00,
     three_operands<float_chained<true, false>, float_chained<true, true>, 3>},
    {0xffb00f10, 0xee200a00, three_operands<float_binary<Product>, float_binary<NegativeProduct>>},
    {0xffb00f10, 0xee300a00, three_operands<float_binary<Sum>, float_binary<Difference>>},
    {0xffb00f10, 0xee800a00, division},
    {0xffb00f10, 0xee900a00, three_operands<float_fused<true, false>, float_fused<true, true>, 3>},
    {0xffb00f10, 0xeea00a00,
     three_operands<float_fused<false, false>, float_fused<false, true>, 3>},
    {0xffb00f50, 0xeeb00a00, immediate},
    {0xffbf0fd0, 0xeeb00a40, one_operand<float_copy>},
    {0xffbf0fd0, 0xeeb00ac0, one_operand<float_absolute>},
    {0xffbf0fd0, 0xeeb10a40, one_operand<float_negative>},
    {0xffbf0fd0, 0xeeb10ac0, one_operand<float_root, 14>},
    {0xffbe0f50, 0xeeb20a40, half},
    {0xffbe0f50, 0xeeb40a40, comparison},
    {0xffbf0f50, 0xeeb80a40, from_integer},
    {0xffbe0f50, 0xeebc0a40, to_integer},
    {0xffba0f50, 0xeeba0a40, fixed_point},
    // A6.7 8, 16 and 32-bit transfers
    {0xffe00f10, 0xee000a10, core_and_single},
    {0xffc00f70, 0xee000b10, core_and_scalar},
    {0xffe00f10, 0xeee00a10, status},
    // A6.8 64-bit transfers
    {0xffe00ed0, 0xec400a10, two_core},
    // A6.6 loads and stores
    {0xff200e00, 0xed000a00, load_or_store},
    {0xfe000e00, 0xec000a00, multiple},
};

}  // namespace

Decoded decode_float(const Encoding& e, Op& op) { return look_up(rows, e, op); }

}  // namespace stillrotor::io::cortexm
