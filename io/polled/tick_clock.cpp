#include "io/polled/tick_clock.hpp"

#include <chrono>
#include <thread>

namespace stillrotor::io {

TickClock::Both TickClock::both() noexcept {
  const std::uint64_t before = ticks();
  const std::int64_t ns = monotonic_ns();
  const std::uint64_t after = ticks();
  return {before + (after - before) / 2, after - before, ns};
}

TickClock::Both TickClock::best_of(int looks) noexcept {
  Both best = both();
  for (int k = 1; k < looks; ++k)
    if (const Both next = both(); next.width < best.width) best = next;
  return best;
}

TickClock::TickClock() {
  const Both first = best_of(100);
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  const Both second = best_of(100);
  usual_width_ = second.width;
  anchor_ticks_ = second.ticks;
  anchor_ns_ = second.ns;
  ns_per_tick_ =
      static_cast<double>(second.ns - first.ns) / static_cast<double>(second.ticks - first.ticks);
}

void TickClock::look() noexcept {
  const Both now = both();
  if (now.width > 2 * usual_width_) return;
  const auto passed = static_cast<double>(now.ticks - anchor_ticks_);
  // Over a second a look's own error, some 20 ns, is nothing to the rate.
  if (passed * ns_per_tick_ < 1e9) return;
  ns_per_tick_ = static_cast<double>(now.ns - anchor_ns_) / passed;
  anchor_ticks_ = now.ticks;
  anchor_ns_ = now.ns;
}

}  // namespace stillrotor::io
