// 32-bit data processing between registers, multiplication, division (A5.3.12 to A5.3.17).
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/execute_data.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr std::uint8_t reg(Word value) noexcept { return static_cast<std::uint8_t>(value); }

/// Fields that all of these share. false: one of them is SP or PC where it must not be.
bool take(const Encoding& e, Op& op) {
  op.n = reg(e.field(19, 16));
  op.a = reg(e.field(15, 12));
  op.d = reg(e.field(11, 8));
  op.m = reg(e.field(3, 0));
  return !is_sp_or_pc(op.d) && !is_sp_or_pc(op.m) && op.n != 13 && op.a != 13;
}

template <Operand K>
Decoded shift(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15) return Decoded::unpredictable;
  return executes(op, e.bit(20) ? shift_by_register<K, true> : shift_by_register<K, false>);
}

template <Handler H>
Decoded extend(const Encoding& e, Op& op) {
  if (!take(e, op) || e.bit(6)) return Decoded::unpredictable;
  op.shift = reg(8 * e.field(5, 4));
  return executes(op, H);
}

/// Rd from Rn and Rm.
template <Handler H>
Decoded two_operands(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15) return Decoded::unpredictable;
  return executes(op, H);
}

/// Rd from Rm, which the encoding gives twice.
template <Handler H>
Decoded one_operand(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n != op.m) return Decoded::unpredictable;
  return executes(op, H);
}

/// Rd from Rn, Rm and Ra; Ra 15: none, where With says that this is an instruction.
template <Handler H, unsigned ImmBits = 0, Handler WithoutAdd = H>
Decoded multiply_accumulate(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15) return Decoded::unpredictable;
  op.imm = ImmBits == 0 ? 0 : e.field(4 + ImmBits - 1, 4);
  return executes(op, op.a == 15 ? WithoutAdd : H);
}
Decoded multiply_less(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15 || op.a == 15) return Decoded::unpredictable;
  op.cycles = 2;
  return executes(op, compute<multiply_subtract>);
}
Decoded multiply_plus(const Encoding& e, Op& op) {
  op.cycles = e.field(15, 12) == 15 ? 1 : 2;
  return multiply_accumulate<compute<multiply_add>, 0, compute<multiply>>(e, op);
}
Decoded top_less(const Encoding& e, Op& op) {
  if (e.field(15, 12) == 15) return Decoded::unpredictable;
  return multiply_accumulate<compute<multiply_top<true>>, 1>(e, op);
}

template <Handler H, unsigned ImmBits = 0>
Decoded long_result(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15 || op.a == 15 || op.a == op.d) return Decoded::unpredictable;
  op.imm = ImmBits == 0 ? 0 : e.field(4 + ImmBits - 1, 4);
  return executes(op, H);
}

template <bool Sign>
Decoded quotient(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15 || op.a != 15) return Decoded::unpredictable;
  return executes(op, divide<Sign>);
}

template <Pattern P>
Decoded parallel_lanes(const Encoding& e, Op& op) {
  if (!take(e, op) || op.n == 15) return Decoded::unpredictable;
  switch (e.field(6, 4)) {
    case 0:
      return executes(op, compute<parallel<P, true, Lane::modulo>>);
    case 1:
      return executes(op, compute<parallel<P, true, Lane::saturating>>);
    case 2:
      return executes(op, compute<parallel<P, true, Lane::halving>>);
    case 4:
      return executes(op, compute<parallel<P, false, Lane::modulo>>);
    case 5:
      return executes(op, compute<parallel<P, false, Lane::saturating>>);
    case 6:
      return executes(op, compute<parallel<P, false, Lane::halving>>);
    default:
      return Decoded::undefined;
  }
}

constexpr Row rows[] = {
    // A5.3.12 register, A5.3.15 miscellaneous
    {0xffe0f0f0, 0xfa00f000, shift<Operand::lsl>},
    {0xffe0f0f0, 0xfa20f000, shift<Operand::lsr>},
    {0xffe0f0f0, 0xfa40f000, shift<Operand::asr>},
    {0xffe0f0f0, 0xfa60f000, shift<Operand::ror>},
    {0xfff0f080, 0xfa00f080, extend<compute<extend_add<16, true>>>},
    {0xfff0f080, 0xfa10f080, extend<compute<extend_add<16, false>>>},
    {0xfff0f080, 0xfa20f080, extend<compute<extend_add_16<true>>>},
    {0xfff0f080, 0xfa30f080, extend<compute<extend_add_16<false>>>},
    {0xfff0f080, 0xfa40f080, extend<compute<extend_add<8, true>>>},
    {0xfff0f080, 0xfa50f080, extend<compute<extend_add<8, false>>>},
    {0xfff0f080, 0xfa90f000, parallel_lanes<Pattern::add16>},
    {0xfff0f080, 0xfaa0f000, parallel_lanes<Pattern::asx>},
    {0xfff0f080, 0xfae0f000, parallel_lanes<Pattern::sax>},
    {0xfff0f080, 0xfad0f000, parallel_lanes<Pattern::sub16>},
    {0xfff0f080, 0xfa80f000, parallel_lanes<Pattern::add8>},
    {0xfff0f080, 0xfac0f000, parallel_lanes<Pattern::sub8>},
    {0xfff0f0f0, 0xfa80f080, two_operands<compute<saturating_add<false, false>>>},
    {0xfff0f0f0, 0xfa80f090, two_operands<compute<saturating_add<false, true>>>},
    {0xfff0f0f0, 0xfa80f0a0, two_operands<compute<saturating_add<true, false>>>},
    {0xfff0f0f0, 0xfa80f0b0, two_operands<compute<saturating_add<true, true>>>},
    {0xfff0f0f0, 0xfa90f080, one_operand<compute<reversed_bytes>>},
    {0xfff0f0f0, 0xfa90f090, one_operand<compute<reversed_halves>>},
    {0xfff0f0f0, 0xfa90f0a0, one_operand<compute<reversed_bits>>},
    {0xfff0f0f0, 0xfa90f0b0, one_operand<compute<reversed_signed_half>>},
    {0xfff0f0f0, 0xfaa0f080, two_operands<compute<selected_bytes>>},
    {0xfff0f0f0, 0xfab0f080, one_operand<compute<count_leading_zeros>>},
    // A5.3.16 multiplication
    {0xfff000f0, 0xfb000000, multiply_plus},
    {0xfff000f0, 0xfb000010, multiply_less},
    {0xfff000c0, 0xfb100000, multiply_accumulate<compute<multiply_halves>, 2>},
    {0xfff000e0, 0xfb200000, multiply_accumulate<compute<dual_multiply<false>>, 1>},
    {0xfff000e0, 0xfb300000, multiply_accumulate<compute<multiply_word_half>, 1>},
    {0xfff000e0, 0xfb400000, multiply_accumulate<compute<dual_multiply<true>>, 1>},
    {0xfff000e0, 0xfb500000, multiply_accumulate<compute<multiply_top<false>>, 1>},
    {0xfff000e0, 0xfb600000, top_less},
    {0xfff000f0, 0xfb700000, multiply_accumulate<compute<sum_of_differences>>},
    // A5.3.17 long results, division
    {0xfff000f0, 0xfb800000, long_result<compute_long<long_multiply<true, false>>>},
    {0xfff000f0, 0xfb9000f0, quotient<true>},
    {0xfff000f0, 0xfba00000, long_result<compute_long<long_multiply<false, false>>>},
    {0xfff000f0, 0xfbb000f0, quotient<false>},
    {0xfff000f0, 0xfbc00000, long_result<compute_long<long_multiply<true, true>>>},
    {0xfff000c0, 0xfbc00080, long_result<compute_long<long_halves>, 2>},
    {0xfff000e0, 0xfbc000c0, long_result<compute_long<long_dual<false>>, 1>},
    {0xfff000e0, 0xfbd000c0, long_result<compute_long<long_dual<true>>, 1>},
    {0xfff000f0, 0xfbe00000, long_result<compute_long<long_multiply<false, true>>>},
    {0xfff000f0, 0xfbe00060, long_result<compute_long<multiply_add_both>>},
};

}  // namespace

Decoded decode_register(const Encoding& e, Op& op) { return look_up(rows, e, op); }

}  // namespace stillrotor::io::cortexm
