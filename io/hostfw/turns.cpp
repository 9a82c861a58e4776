#include "io/hostfw/turns.hpp"

#include <linux/futex.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include <climits>
#include <thread>

#if defined(__x86_64__) || defined(__i386__)
#include <immintrin.h>
#endif

namespace stillrotor::io::hostfw {
namespace {

/// Longer than the other side needs for an ordinary interrupt, or for the plant between two.
constexpr std::int64_t look_out_ns = 40'000;

void relax() noexcept {
#if defined(__x86_64__) || defined(__i386__)
  _mm_pause();
#elif defined(__aarch64__)
  asm volatile("yield");
#endif
}

std::int64_t monotonic_ns() noexcept {
  timespec t{};
  clock_gettime(CLOCK_MONOTONIC, &t);
  return std::int64_t{t.tv_sec} * 1'000'000'000 + t.tv_nsec;
}

// The standard library's waiting works between threads of one process only.
void sleep_while(std::atomic<std::uint32_t>& word, std::uint32_t value,
                 const timespec* most) noexcept {
  syscall(SYS_futex, reinterpret_cast<std::uint32_t*>(&word), FUTEX_WAIT, value, most, nullptr, 0);
}

}  // namespace

/// Rarely, after it was in vain some times in a row.
bool Turns::look_out() noexcept {
  static const bool other_core = std::thread::hardware_concurrency() > 1;
  if (!other_core || (in_vain_ > 8 && in_vain_ % 64 != 0)) {
    ++in_vain_;
    return false;
  }
  const std::int64_t until = monotonic_ns() + look_out_ns;
  do {
    for (int k = 0; k < 50; ++k) {
      if (box_.turn.load(std::memory_order_acquire) == mine_) {
        in_vain_ = 0;
        return true;
      }
      relax();
    }
  } while (monotonic_ns() < until);
  ++in_vain_;
  return false;
}

void Turns::hand_over() noexcept {
  const std::uint32_t to = 1 - mine_;
  box_.turn.store(to);
  if (box_.sleeps[to].load() == 0) return;
  syscall(SYS_futex, reinterpret_cast<std::uint32_t*>(&box_.turn), FUTEX_WAKE, INT_MAX, nullptr,
          nullptr, 0);
}

bool Turns::wait(std::int64_t most_ns) noexcept {
  if (box_.turn.load(std::memory_order_acquire) == mine_ || look_out()) return true;
  const std::int64_t until = monotonic_ns() + most_ns;
  box_.sleeps[mine_].store(1);
  for (;;) {
    const std::uint32_t now = box_.turn.load();
    if (now == mine_) break;
    if (most_ns < 0) {
      sleep_while(box_.turn, now, nullptr);
      continue;
    }
    const std::int64_t left = until - monotonic_ns();
    if (left <= 0) break;
    const timespec most{left / 1'000'000'000, left % 1'000'000'000};
    sleep_while(box_.turn, now, &most);
  }
  box_.sleeps[mine_].store(0);
  return box_.turn.load(std::memory_order_acquire) == mine_;
}

}  // namespace stillrotor::io::hostfw
