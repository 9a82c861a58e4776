// The real-time loop: one turn of the bench per period, on absolute deadlines.
// Units ns of CLOCK_MONOTONIC; ps since arming in what reaches the record.
// Late  a turn whose outputs come after the next deadline is counted and its stretch marked as a
// gap.
//       Periods that are missed whole are skipped: the plant is advanced by all of them at once, so
//       that its time stays the wall's; more than `most_catch_up` at once end the run.
// RT    run_cycle() is safe where controller, sink and clock are: it neither allocates, locks, logs
//       nor throws, and blocks in its deadline sleep only.
//       Proof: tests/emulator/cycle/real_time_test.cpp.
#pragma once

#include <atomic>
#include <cstdint>
#include <string_view>

#include "emulator/cycle/cycle_clock.hpp"
#include "emulator/cycle/latency_histogram.hpp"
#include "emulator/cycle/wired_bench.hpp"

namespace stillrotor {

struct CyclePlan {
  std::int64_t period_ns = 200'000;
  std::int64_t delay_ns = 0;  // of the plant behind the deadline
  std::int64_t most_catch_up = 4;
  std::int64_t lasts_ps = 0;
  LiveControl* live = nullptr;  // a person drives
};

enum class CycleEnd : std::uint8_t {
  complete,        // to its end, or to where the person who drives has stopped it
  asked,           // a signal, or the caller
  emergency_stop,  // the stop circuit is open
  fell_behind,     // more periods missed at once than may be caught up
  wires_failed,    // write() says so
  watchdog         // the watchdog had to make the outputs safe
};
/// A sentence's end: "the run ended because ..."; empty: it is complete.
std::string_view reason(CycleEnd) noexcept;

struct CycleCounts {
  std::uint64_t turns = 0;
  std::uint64_t missed_periods = 0;     // skipped whole
  std::uint64_t late_writes = 0;        // after the next deadline
  LatencyHistogram wake;                // lateness of the wake-up
  LatencyHistogram turn;                // from wake-up to the last output
  LatencyHistogram read, plant, write;  // how long these took
};

/// What other threads may know of the loop, and ask of it, while it runs.
struct CycleWindow {
  std::atomic<bool> begun{false};
  std::atomic<std::uint64_t> turns{0};  // the watchdog's heartbeat
  std::atomic<std::int64_t> model_ps{0};
  std::atomic<float> speed_rad_s{0.0F}, current_peak_A{0.0F};
  std::atomic<bool> stop{false}, watchdog_fired{false};
};

/// From armed_ns (time 0 of the bench) on. The wires are left as the last turn set them: making
/// them safe is the caller's, whatever the end.
CycleEnd run_cycle(WiredBench&, CycleClock&, const CyclePlan&, std::int64_t armed_ns, CycleWindow&,
                   CycleCounts&) noexcept;

}  // namespace stillrotor
