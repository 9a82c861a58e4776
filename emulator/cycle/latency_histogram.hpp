// How long something took, many million times: counts in buckets that grow with the value, so that
// the rarest and longest are known as well as the common ones, in 8 KiB and without ever growing.
// Units ns. Below 32 ns exact; above it a bucket is 1/32 of its power of two wide, so a quantile is
//       at most 3.2 % too high and never too low. Beyond 68 s counts as 68 s; the maximum is exact.
// RT: safe. One thread adds; others may read meanwhile, and see each count as it was lately.
#pragma once

#include <algorithm>
#include <array>
#include <atomic>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace stillrotor {

class LatencyHistogram {
 public:
  LatencyHistogram() = default;
  LatencyHistogram(const LatencyHistogram& other) noexcept { *this = other; }
  LatencyHistogram& operator=(const LatencyHistogram& other) noexcept {
    for (std::size_t k = 0; k < counts_.size(); ++k) set(counts_[k], get(other.counts_[k]));
    set(count_, get(other.count_));
    set(max_ns_, get(other.max_ns_));
    return *this;
  }

  /// Negative counts as 0.
  void add(std::int64_t ns) noexcept {
    const auto value = static_cast<std::uint64_t>(std::max<std::int64_t>(ns, 0));
    auto& count = counts_[bucket(std::min(value, longest))];
    set(count, get(count) + 1);
    set(count_, get(count_) + 1);
    set(max_ns_, std::max(get(max_ns_), static_cast<std::int64_t>(value)));
  }

  std::uint64_t count() const noexcept { return get(count_); }
  std::int64_t max_ns() const noexcept { return get(max_ns_); }

  /// At least this share of all lay at or below it; 0 while nothing was added. 0 < share <= 1.
  std::int64_t quantile_ns(double share) const noexcept {
    const auto wanted = static_cast<std::uint64_t>(std::ceil(share * static_cast<double>(count())));
    std::uint64_t seen = 0;
    for (std::size_t k = 0; k < counts_.size(); ++k) {
      seen += get(counts_[k]);
      if (seen >= wanted && seen > 0) return std::min(last_of(k), max_ns());
    }
    return max_ns();
  }

 private:
  template <class T>
  static T get(const std::atomic<T>& value) noexcept {
    return value.load(std::memory_order_relaxed);
  }
  template <class T>
  static void set(std::atomic<T>& value, T to) noexcept {
    value.store(to, std::memory_order_relaxed);
  }

  static constexpr unsigned fine_bits = 5;
  static constexpr std::uint64_t fine = 1U << fine_bits;
  static constexpr unsigned most_bits = 36;
  static constexpr std::uint64_t longest = (std::uint64_t{1} << most_bits) - 1;

  static constexpr std::size_t bucket(std::uint64_t value) noexcept {
    if (value < fine) return value;
    const unsigned shift = static_cast<unsigned>(std::bit_width(value)) - fine_bits - 1;
    return (shift + 1) * fine + (value >> shift) - fine;
  }
  static constexpr std::int64_t last_of(std::size_t bucket) noexcept {
    if (bucket < fine) return static_cast<std::int64_t>(bucket);
    const std::size_t shift = bucket / fine - 1;
    return static_cast<std::int64_t>(((bucket % fine + fine + 1) << shift) - 1);
  }

  std::array<std::atomic<std::uint64_t>, (most_bits - fine_bits + 1) * fine> counts_{};
  std::atomic<std::uint64_t> count_{0};
  std::atomic<std::int64_t> max_ns_{0};
};

}  // namespace stillrotor
