#include "emulator/cycle/cycle.hpp"

#include <algorithm>

namespace stillrotor {
namespace {

constexpr std::int64_t ps(std::int64_t ns) noexcept { return 1000 * ns; }

void show(const WiredBench& bench, CycleWindow& window) noexcept {
  constexpr auto relaxed = std::memory_order_relaxed;
  const Frame& frame = bench.world().latest_frame();
  window.model_ps.store(bench.world().now_ps(), relaxed);
  window.speed_rad_s.store(frame.value[static_cast<std::size_t>(Signal::speed)], relaxed);
  window.current_peak_A.store(current_peak_A(frame), relaxed);
  window.turns.fetch_add(1, relaxed);
}

}  // namespace

std::string_view reason(CycleEnd end) noexcept {
  switch (end) {
    case CycleEnd::complete:
      return "";
    case CycleEnd::asked:
      return "it was asked to stop";
    case CycleEnd::emergency_stop:
      return "the emergency stop's circuit is open";
    case CycleEnd::fell_behind:
      return "the cycle fell behind by more periods than it may catch up";
    case CycleEnd::wires_failed:
      return "the wires do not follow";
    case CycleEnd::watchdog:
      return "the watchdog saw no turn of the cycle and made the outputs safe";
  }
  return "";
}

CycleEnd run_cycle(WiredBench& bench, CycleClock& clock, const CyclePlan& plan,
                   std::int64_t armed_ns, CycleWindow& window, CycleCounts& counts) noexcept {
  const std::int64_t period = plan.period_ns;
  window.begun.store(true, std::memory_order_relaxed);
  // The first deadline is the next of the grid: what arming took is no lateness.
  const std::int64_t gone = (clock.now_ns() - armed_ns) / period;
  for (std::int64_t due = (gone + 1) * period;; due += period) {
    clock.sleep_until(armed_ns + due);
    const std::int64_t woke = clock.now_ns() - armed_ns;
    if (window.stop.load(std::memory_order_relaxed)) return CycleEnd::asked;
    if (window.watchdog_fired.load(std::memory_order_relaxed)) return CycleEnd::watchdog;
    if (!bench.may_run()) return CycleEnd::emergency_stop;
    counts.wake.add(woke - due);
    if (const std::int64_t missed = (woke - due) / period; missed > 0) {
      counts.missed_periods += static_cast<std::uint64_t>(missed);
      bench.distrust(ps(due), ps(woke), "cycle missed");
      if (missed > plan.most_catch_up) return CycleEnd::fell_behind;
      due += missed * period;
    }

    bench.read();
    const std::int64_t read = clock.now_ns() - armed_ns;
    if (plan.live != nullptr) bench.attend(*plan.live, ps(due + period));
    bench.advance(std::min(ps(due - plan.delay_ns), plan.lasts_ps));
    const std::int64_t advanced = clock.now_ns() - armed_ns;
    const bool follows = bench.write();
    const std::int64_t written = clock.now_ns() - armed_ns;

    ++counts.turns;
    counts.turn.add(written - woke);
    counts.read.add(read - woke);
    counts.plant.add(advanced - read);
    counts.write.add(written - advanced);
    if (written > due + period) {
      ++counts.late_writes;
      bench.distrust(ps(due), ps(written), "outputs late");
    }
    show(bench, window);
    if (!follows) return CycleEnd::wires_failed;
    if (bench.world().now_ps() >= plan.lasts_ps) return CycleEnd::complete;
    if (plan.live != nullptr && plan.live->stop_asked()) return CycleEnd::complete;
  }
}

}  // namespace stillrotor
