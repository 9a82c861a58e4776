// Counts by a ratio that stays, exactly and without a division each time.
//
//   floor(x / by) = (x m) >> k   for 0 <= x < 2^62, with m = ceil(2^k / by) and k = 62 + the bits
//   of by - 1: m by exceeds 2^k by less than by, which is 2^(k - 62) at most.
// Source Granlund and Montgomery, Division by invariant integers using multiplication (1994), from
//        memory; compared with the division by a test.
// RT     pure arithmetic.
#pragma once

#include <bit>
#include <cstdint>

namespace stillrotor::io::cortexm {

class Ratio {
 public:
  /// Both positive.
  constexpr Ratio(std::int64_t times, std::int64_t by) noexcept
      : times_(times),
        by_(by),
        shift_(62 + static_cast<int>(std::bit_width(static_cast<std::uint64_t>(by - 1)))),
        reciprocal_(static_cast<std::uint64_t>(((Wide{1} << shift_) + static_cast<Wide>(by) - 1) /
                                               static_cast<Wide>(by))) {}

  /// (count * times + add) / by, rounded down where that is not negative, else towards zero.
  constexpr std::int64_t operator()(std::int64_t count, std::int64_t add = 0) const noexcept {
    std::int64_t x = 0;
    if (count >= 0 && !__builtin_mul_overflow(count, times_, &x) &&
        !__builtin_add_overflow(x, add, &x) && x >> 62 == 0) [[likely]]
      return static_cast<std::int64_t>(static_cast<Wide>(x) * reciprocal_ >> shift_);
    return static_cast<std::int64_t>((static_cast<Signed>(count) * times_ + add) / by_);
  }

 private:
  __extension__ using Wide = unsigned __int128;
  __extension__ using Signed = __int128;
  std::int64_t times_, by_;
  int shift_;
  std::uint64_t reciprocal_;
};

}  // namespace stillrotor::io::cortexm
