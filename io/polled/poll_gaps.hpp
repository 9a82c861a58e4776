// How long the polling loop looked away, counted by size.
#pragma once

#include <array>
#include <atomic>
#include <bit>
#include <cstdint>

namespace stillrotor::io {

/// Four sizes to an octave, in ticks. RT: add() safe, by one thread; others may read.
class PollGaps {
 public:
  static constexpr std::size_t sizes = 4 * 62;

  void add(std::uint64_t gap) noexcept {
    auto& count = counts_[size_of(gap)];
    count.store(count.load(std::memory_order_relaxed) + 1, std::memory_order_relaxed);
  }
  std::uint64_t count(std::size_t size) const noexcept {
    return counts_[size].load(std::memory_order_relaxed);
  }
  static constexpr std::size_t size_of(std::uint64_t gap) noexcept {
    if (gap < 8) return static_cast<std::size_t>(gap);
    const auto octave = static_cast<unsigned>(std::bit_width(gap)) - 3;  // gap >> octave: 4 to 7
    const std::size_t size = 4 * octave + static_cast<std::size_t>(gap >> octave);
    return size < sizes ? size : sizes - 1;
  }
  /// The smallest gap of a size.
  static constexpr std::uint64_t least(std::size_t size) noexcept {
    if (size < 8) return size;
    return (4 + size % 4) << (size / 4 - 1);
  }
  /// A gap that so large a part of all looks stays below, rounded up to the end of its size; 0:
  /// none.
  std::uint64_t quantile(double part) const noexcept {
    std::uint64_t all = 0, seen = 0;
    for (std::size_t k = 0; k < sizes; ++k) all += count(k);
    for (std::size_t k = 0; k + 1 < sizes && all > 0; ++k) {
      seen += count(k);
      if (static_cast<double>(seen) >= part * static_cast<double>(all)) return least(k + 1) - 1;
    }
    return 0;
  }

 private:
  std::array<std::atomic<std::uint64_t>, sizes> counts_{};
};

}  // namespace stillrotor::io
