// Counts by a ratio that stays, exactly and without a division each time.
//
//   floor(x / by) = (x m) >> k   for 0 <= x < 2^62, with m = ceil(2^k / by) and k = 62 + the bits
//   of by - 1: m by exceeds 2^k by less than by, which is 2^(k - 62) at most. Of k, two bits are
//   made up for by 4 x, and 64 are the product's lower half.
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
      : times_(static_cast<std::uint64_t>(times)),
        by_(by),
        bits_(static_cast<int>(std::bit_width(static_cast<std::uint64_t>(by - 1)))),
        reciprocal_(static_cast<std::uint64_t>(
            ((Wide{1} << (62 + bits_)) + static_cast<Wide>(by) - 1) / static_cast<Wide>(by))),
        highest_(((std::uint64_t{1} << 62) - static_cast<std::uint64_t>(by)) / times_) {}

  /// (count * times + add) / by, rounded down where that is not negative, else towards zero; add
  /// from 0 to by - 1.
  constexpr std::int64_t operator()(std::int64_t count, std::int64_t add = 0) const noexcept {
    if (const auto c = static_cast<std::uint64_t>(count); c <= highest_) [[likely]] {
      const std::uint64_t x = c * times_ + static_cast<std::uint64_t>(add);
      return static_cast<std::int64_t>(
          static_cast<std::uint64_t>(static_cast<Wide>(4 * x) * reciprocal_ >> 64) >> bits_);
    }
    const auto x = static_cast<Signed>(count) * static_cast<Signed>(times_) + add;
    return static_cast<std::int64_t>(x / by_);
  }

 private:
  __extension__ using Wide = unsigned __int128;
  __extension__ using Signed = __int128;
  std::uint64_t times_;
  std::int64_t by_;
  int bits_;
  std::uint64_t reciprocal_;
  std::uint64_t highest_;  // count for which x stays below 2^62
};

}  // namespace stillrotor::io::cortexm
