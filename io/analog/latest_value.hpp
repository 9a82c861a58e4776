// A mailbox that holds one letter: the newest. One thread puts, one looks; neither ever waits, and
// what is looked at is always one whole letter.
// RT: safe, wait-free both ways. T: trivially copyable.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <type_traits>

namespace stillrotor::io {

template <class T>
class LatestValue {
  static_assert(std::is_trivially_copyable_v<T>);

 public:
  void put(const T& value) noexcept {
    slots_[back_] = value;
    back_ = middle_.exchange(back_ | fresh, std::memory_order_acq_rel) & index;
  }
  /// True: there is a newer one than at the last look.
  bool look() noexcept {
    if ((middle_.load(std::memory_order_relaxed) & fresh) == 0) return false;
    front_ = middle_.exchange(front_, std::memory_order_acq_rel) & index;
    return true;
  }
  /// As of the last look; T{} before the first put.
  const T& value() const noexcept { return slots_[front_]; }

 private:
  static constexpr std::uint8_t index = 3, fresh = 4;
  std::array<T, 3> slots_{};
  std::uint8_t back_ = 0;   // the writer's
  std::uint8_t front_ = 1;  // the reader's
  std::atomic<std::uint8_t> middle_{2};
};

}  // namespace stillrotor::io
