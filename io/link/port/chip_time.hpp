// Ticks of a free-running counter and picoseconds: exact, whatever the counter's frequency.
#pragma once

#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor::io {

class ChipTime {
 public:
  /// tick_Hz: 1 to 4294967295.
  explicit constexpr ChipTime(std::uint32_t tick_Hz) noexcept : tick_Hz_(tick_Hz) {}

  /// Ticks that have begun by then. at: not below 0.
  constexpr std::uint64_t ticks(Time at) const noexcept {
    return static_cast<std::uint64_t>(static_cast<Wide>(at.count()) * tick_Hz_ / second_ps);
  }
  /// When that tick begins: ticks(begins(n)) == n.
  constexpr Time begins(std::uint64_t tick) const noexcept {
    return Time(
        static_cast<std::int64_t>((static_cast<Wide>(tick) * second_ps + tick_Hz_ - 1) / tick_Hz_));
  }

 private:
  __extension__ using Wide = unsigned __int128;
  static constexpr std::uint64_t second_ps = 1'000'000'000'000;
  std::uint32_t tick_Hz_;
};

}  // namespace stillrotor::io
