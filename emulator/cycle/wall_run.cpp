#include "emulator/cycle/wall_run.hpp"

#include <chrono>
#include <cmath>
#include <memory>
#include <optional>
#include <thread>

#include "emulator/bench/input_error.hpp"
#include "emulator/cycle/watchdog.hpp"
#include "emulator/cycle/wired_bench.hpp"

namespace stillrotor {
namespace {

using namespace std::chrono_literals;

std::int64_t ns(double seconds) { return std::llround(seconds * 1e9); }

/// Takes what the cycle leaves behind to the record, at leisure.
class Carrier {
 public:
  Carrier(DroppingSink& from, RunSink& to)
      : thread_([this, &from, &to] {
          while (!done_.load(std::memory_order_acquire))
            if (!from.deliver(to)) std::this_thread::sleep_for(1ms);
          while (!from.end()) from.deliver(to);
          from.deliver(to);
        }) {}
  ~Carrier() {
    done_.store(true, std::memory_order_release);
    thread_.join();
  }

 private:
  std::atomic<bool> done_{false};
  std::thread thread_;
};

struct MemoryLock {
  ~MemoryLock() { unlock_memory(); }
};

/// Until the person who drives starts the run. False: it has been stopped instead.
bool await_start(LiveControl& live, WiredBench& bench, std::int64_t first_ps,
                 const std::atomic<bool>* stop) {
  for (; !live.start_asked(); std::this_thread::sleep_for(2ms)) {
    if (live.stop_asked() || (stop != nullptr && stop->load())) return false;
    bench.attend(live, first_ps);
  }
  live.say(LivePhase::running);
  return true;
}

/// However it ends, whoever drives hears of it.
struct LiveEnd {
  LiveControl* live;
  const WiredBench* bench = nullptr;
  ~LiveEnd() {
    if (live == nullptr) return;
    live->say_end(bench != nullptr ? bench->world().now_ps() : 0);
    live->say(LivePhase::ended);
  }
};

std::string all_of(const std::vector<MissingRight>& missing) {
  std::string text = "This computer does not let the cycle run in real time:";
  for (const MissingRight& right : missing) text += "\n  " + right.what + " " + right.remedy;
  return text;
}

}  // namespace

std::vector<MissingRight> require_rights(const CycleSettings& settings, bool allow_soft) {
  auto missing = missing_rights({settings.priority, settings.core});
  if (!missing.empty() && !allow_soft) throw NotPermitted(all_of(missing));
  return missing;
}

WallOutcome run_wall(const Bench& bench, const Scenario& scenario, OpenWires& wires, RunSink& sink,
                     const WallOptions& options) {
  io::WiredController& controller = wires.controller();
  auto outcome = std::make_unique<WallOutcome>();
  CycleReport& report = outcome->cycle;
  report.settings = bench.cycle;
  const Seat seat{bench.cycle.priority, bench.cycle.core};
  const MemoryLock lock;
  report.missing_rights = require_rights(bench.cycle, options.allow_soft);
  const ShortIdle idle;
  report.short_idle = idle.granted();

  DroppingSink handover;
  std::unique_ptr<WiredBench> wired;
  LiveEnd live_end{options.live};
  try {
    wired = std::make_unique<WiredBench>(bench, scenario, controller, handover);
  } catch (const std::invalid_argument& error) {
    throw InputError(bench.file.string() + ": " + error.what());
  }
  live_end.bench = wired.get();
  // So far the first turn may look.
  const std::int64_t first_ps = 1000 * ns(bench.cycle.period_s + bench.cycle.delay_s);
  if (options.live != nullptr && !await_start(*options.live, *wired, first_ps, options.stop)) {
    report.end = CycleEnd::asked;
    outcome->run = outcome_of(wired->world());
    outcome->run.interrupted = true;
    return *outcome;
  }
  require_safe_to_arm(controller);

  CycleWindow window;
  const auto began = std::chrono::steady_clock::now();
  {
    const Carrier carrier(handover, sink);
    for (const MissingRight& right : report.missing_rights)
      handover.mark(MarkKind::event, 0, "soft real time", right.what);
    std::atomic<bool> ended{false};
    std::thread cycle([&] {
      take_seat(seat);
      MonotonicClock clock(ns(bench.cycle.spin_s));
      const CyclePlan plan{.period_ns = ns(bench.cycle.period_s),
                           .delay_ns = ns(bench.cycle.delay_s),
                           .most_catch_up = options.most_catch_up,
                           .lasts_ps = scenario.lasts_ps,
                           .live = options.live};
      wired->begin();
      // One level above the cycle: it has to run exactly when the cycle does not let go.
      const Watchdog watchdog(controller, window, bench.cycle.watchdog_periods * plan.period_ns,
                              {seat.priority + 1, -1});
      const ThreadUse before = thread_use();
      const std::int64_t armed_ns = clock.now_ns();
      wired->arm(armed_ns);
      report.end = run_cycle(*wired, clock, plan, armed_ns, window, report.counts);
      controller.make_safe();
      report.use = thread_use() - before;
      if (report.end != CycleEnd::complete) wired->event("run ended", reason(report.end));
      wired->end();
      ended.store(true, std::memory_order_release);
    });
    while (!ended.load(std::memory_order_acquire)) {
      std::this_thread::sleep_for(50ms);
      if (options.stop != nullptr && options.stop->load()) window.stop = true;
      if (options.progress)
        options.progress(static_cast<double>(window.model_ps.load()) / 1e12,
                         static_cast<double>(window.speed_rad_s.load()),
                         static_cast<double>(window.current_peak_A.load()), report.counts.wake);
    }
    cycle.join();
  }

  RunOutcome& run = outcome->run = outcome_of(wired->world());
  run.interrupted = report.end != CycleEnd::complete;
  run.stopped = !run.interrupted && run.end_ps < scenario.lasts_ps;
  report.gates = wired->gate_report();
  run.late_gate_edges = report.gates.cleaning.late;
  run.loop_cpu_s = report.use.cpu_s;
  run.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
  report.wires = controller.counts();
  report.dropped = handover.dropped();
  if (const FarPlantMirror* mirror = wired->mirror())
    report.far_plant = {mirror->link_status(), mirror->report()};
  return *outcome;
}

}  // namespace stillrotor
