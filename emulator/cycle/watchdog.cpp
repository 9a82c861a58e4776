#include "emulator/cycle/watchdog.hpp"

#include <algorithm>
#include <optional>

namespace stillrotor {

Watchdog::Watchdog(io::WiredController& controller, CycleWindow& window, std::int64_t most_ns,
                   Seat seat)
    : controller_(controller),
      window_(window),
      thread_([this, most_ns, seat] { watch(most_ns, seat); }) {}

Watchdog::~Watchdog() {
  done_.store(true, std::memory_order_relaxed);
  thread_.join();
}

void Watchdog::watch(std::int64_t most_ns, Seat seat) noexcept {
  take_seat(seat);
  MonotonicClock clock;
  // Often enough for its purpose, and for nobody to wait for its end.
  constexpr std::int64_t seldom_ns = 10'000'000;
  const std::int64_t look_every = std::clamp<std::int64_t>(most_ns / 4, 1, seldom_ns);
  std::optional<HeartbeatWatch> heart;
  while (!done_.load(std::memory_order_relaxed)) {
    const std::int64_t now = clock.now_ns();
    if (!heart && window_.begun.load(std::memory_order_relaxed)) heart.emplace(most_ns, now);
    if (heart && heart->overdue(now, window_.turns.load(std::memory_order_relaxed))) {
      controller_.make_safe();
      window_.watchdog_fired.store(true, std::memory_order_relaxed);
      return;
    }
    clock.sleep_until(now + look_every);
  }
}

}  // namespace stillrotor
