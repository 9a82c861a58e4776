// IEEE 754 single precision as the part computes it, in whole numbers.
//
// Values are bit patterns. Every function sees FPSCR's modes (rounding, flush to zero, default NaN,
// alternative half precision) and adds its cumulative flags. Nothing depends on the compiler's
// treatment of floating point or on the host's modes.
//
// Where nothing is special, the host's own operation gives the same bits, and quicker: round to
// nearest, numbers neither subnormal nor at the ends of the range, and the inexact flag set
// already, as it is for good in all but the first moments of a program (execute_float.hpp).
//
// Source ARM DDI 0403E, A2.5.8 to A2.5.10: FPUnpack, FPRound, FPProcessNaNs, FPAdd, FPMul, FPDiv,
//        FPMulAdd, FPSqrt, FPCompare, FPToFixed, FixedToFP, FPSingleToHalf, FPHalfToSingle.
// RT     safe.
#pragma once

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm::fp {

// Cumulative flags of FPSCR.
inline constexpr Word invalid = 1, divided_by_zero = 2, overflowed = 4, underflowed = 8,
                      inexact = 16, input_denormal = 128;
// Modes.
inline constexpr Word flush_to_zero = 1u << 24, default_nan_mode = 1u << 25,
                      alternative_half = 1u << 26, rounding = 3u << 22;
inline constexpr Word default_nan = 0x7fc00000, sign_bit = 0x80000000;

constexpr Word negated(Word a) noexcept { return a ^ sign_bit; }

[[gnu::noinline]] Word add(Word a, Word b, Word& fpscr) noexcept;
[[gnu::noinline]] Word subtract(Word a, Word b, Word& fpscr) noexcept;
[[gnu::noinline]] Word multiply(Word a, Word b, Word& fpscr) noexcept;
[[gnu::noinline]] Word divide(Word a, Word b, Word& fpscr) noexcept;
/// addend + a b, rounded once.
[[gnu::noinline]] Word multiply_add(Word addend, Word a, Word b, Word& fpscr) noexcept;
[[gnu::noinline]] Word square_root(Word a, Word& fpscr) noexcept;
/// NZCV in bits 31 to 28. signal_quiet: VCMPE.
[[gnu::noinline]] Word compare(Word a, Word b, bool signal_quiet, Word& fpscr) noexcept;

/// A whole number of `bits` bits, of which `fraction` lie behind the point, sign- or zero-extended.
[[gnu::noinline]] Word to_fixed(Word a, unsigned bits, unsigned fraction, bool is_unsigned,
                                bool towards_zero, Word& fpscr) noexcept;
/// `nearest`: whatever FPSCR says (VCVT from fixed point).
[[gnu::noinline]] Word from_fixed(Word value, unsigned bits, unsigned fraction, bool is_unsigned,
                                  bool nearest, Word& fpscr) noexcept;
[[gnu::noinline]] Word half_to_single(Word half, Word& fpscr) noexcept;
[[gnu::noinline]] Word single_to_half(Word a, Word& fpscr) noexcept;

}  // namespace stillrotor::io::cortexm::fp
