// How late the bench's cycle wakes up, beside cyclictest (package rt-tests) on the same computer in
// the same minute: pairs, one after the other, the median of each figure. And what a turn of 50 us
// costs, in the run and by itself: there the same 20,000 turns are computed fifteen times over
// without a pause, and the least time of each counts, so that interrupts and other programs drop
// out and what differs from turn to turn stays.
//
// Both: SCHED_FIFO priority 80, memory locked, absolute CLOCK_MONOTONIC deadlines, idle states kept
//       short. The cycle carries the mid machine with its encoder and PWM of 16 kHz, record grid 20
//       kHz and all; cyclictest carries nothing.
// Usage: stillrotor_bench_cycle [seconds of each, default 5 [core, default any]]
#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string>
#include <vector>

#include "emulator/cycle/load_wires.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/handover/no_sink.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::test;

constexpr int pairs = 5;
constexpr double pwm_Hz = 16e3;
constexpr std::array shares{0.5, 0.99, 0.999, 0.9999};
using Figures = std::array<double, shares.size() + 1>;  // us; the last: maximum

Figures figures(const LatencyHistogram& histogram) {
  Figures found{};
  for (std::size_t k = 0; k < shares.size(); ++k)
    found[k] = static_cast<double>(histogram.quantile_ns(shares[k])) * 1e-3;
  found.back() = static_cast<double>(histogram.max_ns()) * 1e-3;
  return found;
}

Scenario load() {
  Scenario scenario;
  scenario.start.key = true;
  scenario.start.speed_rad_s = 100.0;
  return scenario;
}

/// Only what the machine has sensors for ends at a converter.
Bench fitted_bench() {
  Bench bench = mid_bench();
  bench.harness.channels.fill(false);
  for (const io::ChannelId channel :
       {io::channel::throttle, io::channel::phase_current_U, io::channel::phase_current_V,
        io::channel::phase_current_W, io::channel::bus_voltage})
    bench.harness.channels[io::index(channel)] = true;
  return bench;
}

CycleReport cycle(double seconds, double period_s, int core) {
  Bench bench = fitted_bench();
  bench.cycle.period_s = period_s;
  bench.cycle.core = core;
  bench.cycle.watchdog_periods = 1'000'000;
  Scenario scenario = load();
  scenario.lasts_ps = static_cast<std::int64_t>(seconds * 1e12);
  MonotonicClock clock;
  LoadWires wires(pwm_Hz, clock);
  OpenWires open(wires);
  NoSink nowhere;
  WallOptions options;
  options.most_catch_up = 1'000'000;
  return run_wall(bench, scenario, open, nowhere, options).cycle;
}

/// From cyclictest's own histogram, whole microseconds; its maximum may lie beyond it.
Figures cyclictest(double seconds, int core) {
  const std::string command =
      fmt::format("cyclictest -q -m -t1 -p80 -i200 -l{} -h20000 {} 2>/dev/null",
                  static_cast<long>(seconds / 200e-6), core < 0 ? "" : fmt::format("-a{}", core));
  FILE* pipe = popen(command.c_str(), "r");
  std::vector<std::pair<double, double>> counts;
  Figures found{};
  double all = 0.0;
  std::array<char, 256> line{};
  while (pipe != nullptr && std::fgets(line.data(), line.size(), pipe) != nullptr) {
    double us = 0.0, count = 0.0;
    int longest = 0;
    if (std::sscanf(line.data(), "# Max Latencies: %d", &longest) == 1) found.back() = longest;
    if (line[0] == '#' || std::sscanf(line.data(), "%lf %lf", &us, &count) != 2) continue;
    counts.emplace_back(us, count);
    all += count;
  }
  if (pipe == nullptr || pclose(pipe) != 0 || all == 0.0) return {};
  for (std::size_t k = 0; k < shares.size(); ++k) {
    double seen = 0.0;
    for (const auto& [us, count] : counts) {
      seen += count;
      found[k] = us;
      if (seen >= shares[k] * all) break;
    }
  }
  return found;
}

Figures median(std::vector<Figures> runs) {
  Figures middle{};
  for (std::size_t k = 0; k < middle.size(); ++k) {
    std::sort(runs.begin(), runs.end(),
              [k](const Figures& a, const Figures& b) { return a[k] < b[k]; });
    middle[k] = runs[runs.size() / 2][k];
  }
  return middle;
}

class HandClock final : public CycleClock {
 public:
  std::int64_t now_ns() noexcept override { return now; }
  void sleep_until(std::int64_t ns) noexcept override { now = ns; }
  std::int64_t now = 0;
};

Figures undisturbed(double period_s) {
  constexpr int turns = 20'000, times = 15, settled = 500;
  const auto period_ns = static_cast<std::int64_t>(1e9 * period_s);
  Bench bench = fitted_bench();
  Scenario scenario = load();
  scenario.lasts_ps = 2 * turns * 1000 * period_ns;
  std::vector<std::int64_t> least(turns, INT64_MAX);
  MonotonicClock wall;
  NoSink nowhere;
  for (int k = 0; k < times; ++k) {
    HandClock clock;
    LoadWires wires(pwm_Hz, clock);
    DroppingSink sink;
    const auto wired = std::make_unique<WiredBench>(bench, scenario, wires, sink);
    wired->begin();
    for (int turn = 0; turn < turns; ++turn) {
      clock.now += period_ns;
      const std::int64_t from = wall.now_ns();
      wired->read();
      wired->advance(1000 * (clock.now - period_ns));
      wired->write();
      auto& best = least[static_cast<std::size_t>(turn)];
      best = std::min(best, wall.now_ns() - from);
      if (turn % 1000 == 0) sink.deliver(nowhere);
    }
  }
  LatencyHistogram histogram;
  for (std::size_t k = settled; k < least.size(); ++k) histogram.add(least[k]);
  return figures(histogram);
}

bool ran(const Figures& f) { return f != Figures{}; }

void print(std::string_view name, const Figures& f) {
  if (!ran(f)) return fmt::print("{:<28} did not run\n", name);
  fmt::print("{:<28} {:>8.1f} {:>8.1f} {:>8.1f} {:>8.1f} {:>9.1f}\n", name, f[0], f[1], f[2], f[3],
             f[4]);
}

}  // namespace

int main(int argc, char** argv) {
  const double seconds = argc > 1 ? std::atof(argv[1]) : 5.0;
  const int core = argc > 2 ? std::atoi(argv[2]) : -1;
  if (seconds < 0.1) {
    fmt::print(stderr, "seconds is {}; allowed from 0.1.\n", argv[1]);
    return 2;
  }
  try {
    std::vector<Figures> ours, theirs;
    fmt::print("us                                p50      p99    p99.9   p99.99       max\n");
    for (int k = 0; k < pairs; ++k) {
      ours.push_back(figures(cycle(seconds, 200e-6, core).counts.wake));
      print("cycle, wake-up late", ours.back());
      theirs.push_back(cyclictest(seconds, core));
      print("cyclictest", theirs.back());
    }
    fmt::print("median of {} pairs\n", pairs);
    print("cycle, wake-up late", median(ours));
    if (std::all_of(theirs.begin(), theirs.end(), ran)) {
      print("cyclictest", median(theirs));
      fmt::print("cycle over cyclictest, p99: {:.2f} (goal: 1.2)\n",
                 median(ours)[1] / median(theirs)[1]);
    } else {
      fmt::print("cyclictest did not run: apt-get install rt-tests.\n");
    }
    const CycleReport fast = cycle(seconds, 50e-6, core);
    print("a turn of 50 us, computing", figures(fast.counts.turn));
    print("  of it the plant", figures(fast.counts.plant));
    print("  by itself", undisturbed(50e-6));
    fmt::print("{} turns, {} periods missed\n", fast.counts.turns, fast.counts.missed_periods);
  } catch (const std::exception& error) {
    fmt::print(stderr, "{}\n", error.what());
    return 4;
  }
}
