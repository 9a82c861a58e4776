// What a panel costs the cycle that it shows: how late the cycle wakes with nobody looking, and
// with ten pages that each see four curves and six gates at up to 30 frames a second; pairs of
// runs, one after the other. And the share of a core that the panel's thread takes with the ten.
// The cycle: that of stillrotor_bench_cycle. The pages: another process on the same computer, which
// takes its frames over loopback and does nothing with them; what a browser would do with them here
// is not in it.
// Usage: stillrotor_bench_panel [seconds of each, default 5 [core of the cycle, default any]]
#include <dirent.h>
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "emulator/cycle/load_wires.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/handover/no_sink.hpp"
#include "emulator/panel/panel_store.hpp"
#include "emulator/panel/panel_tap.hpp"
#include "emulator/panel/server.hpp"
#include "emulator/panel/welcome.hpp"
#include "tests/emulator/panel/page_client.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::test;

constexpr int pairs = 5, pages = 10;
constexpr std::array<std::uint8_t, io::line_bytes> all_low{};

/// What the cycle's carrier leaves, shown and not driven.
class Shown final : public ShownRun {
 public:
  PanelTap tap{all_low};
  const ViewSource& source() const override { return store_; }
  const std::vector<std::uint16_t>& lines() const override { return lines_; }
  Json welcome() const override { return {{"signals", signals_json()}}; }
  Json state(Json&) const override { return {{"phase", "running"}}; }
  const std::deque<PanelMark>& marks() const override { return store_.marks(); }
  std::uint64_t marks_gone() const override { return store_.marks_gone(); }
  std::optional<std::string> document(std::string_view) const override { return {}; }
  void take_in() { tap.deliver(store_); }

 private:
  PanelStore store_{20e3, all_low};
  std::vector<std::uint16_t> lines_{0, 1, 2, 3, 4, 5};
};

/// The other process: takes frames until the server is gone; prints how many came.
int be_pages(std::uint16_t port) {
  std::vector<std::thread> threads;
  std::array<long, pages> frames{};
  for (int k = 0; k < pages; ++k)
    threads.emplace_back([port, &count = frames[static_cast<std::size_t>(k)]] {
      PageClient page(port);
      page.greet();
      page.say(
          {{"view",
            {{"id", 0},
             {"kind", "scope"},
             {"signals", {"phase_current.U", "phase_current.V", "torque", "speed"}},
             {"lines", {"gates.UH", "gates.UL", "gates.VH", "gates.VL", "gates.WH", "gates.WL"}},
             {"span_s", 0.2},
             {"columns", 1200}}}});
      while (!page.hear_frame().empty()) ++count;
    });
  for (std::thread& one : threads) one.join();
  long all = 0;
  for (const long one : frames) all += one;
  fmt::print("{}\n", all);
  return 0;
}

/// User and system time of the thread of that name [s].
double thread_cpu_s(const char* name) {
  DIR* tasks = opendir("/proc/self/task");
  double ticks = 0.0;
  while (const dirent* task = tasks != nullptr ? readdir(tasks) : nullptr) {
    std::ifstream file(fmt::format("/proc/self/task/{}/stat", task->d_name));
    std::string line;
    if (!std::getline(file, line)) continue;
    const std::size_t end = line.rfind(')');
    if (line.find(fmt::format("({})", name)) == std::string::npos) continue;
    unsigned long user = 0, system = 0;
    std::sscanf(line.c_str() + end + 2, "%*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu",
                &user, &system);
    ticks += static_cast<double>(user + system);
  }
  if (tasks != nullptr) closedir(tasks);
  return ticks / static_cast<double>(sysconf(_SC_CLK_TCK));
}

struct Figures {
  double p99_us = 0.0, p9999_us = 0.0, server_share = 0.0, frames_per_s = 0.0;
};

Figures measure(double seconds, int core, bool looked_at) {
  Bench bench = mid_bench();
  bench.cycle.period_s = 200e-6;
  bench.cycle.core = core;
  bench.cycle.watchdog_periods = 1'000'000;
  Scenario scenario;
  scenario.start.key = true;
  scenario.start.speed_rad_s = 100.0;
  scenario.lasts_ps = static_cast<std::int64_t>(seconds * 1e12);
  leave_core(core);
  const auto shown = std::make_shared<Shown>();
  PanelServer::Shows shows;
  shows.run = shown;
  shows.take_in = [&shown](Panel&, std::chrono::steady_clock::time_point) {
    shown->take_in();
    return false;
  };
  auto server = std::make_unique<PanelServer>(ListenAddress{"127.0.0.1", 0}, "", std::move(shows));
  FILE* others = nullptr;
  if (looked_at) {
    others = popen(
        fmt::format("exec /proc/{}/exe --pages {}", getpid(), server->address().port).c_str(), "r");
    while (server->watchers() < pages) usleep(10'000);
  }
  NoSink nowhere;
  shown->tap.in_front_of(nowhere);
  MonotonicClock clock;
  LoadWires wires(16e3, clock);
  OpenWires open(wires);
  WallOptions options;
  options.most_catch_up = 1'000'000;
  const double before_s = thread_cpu_s("panel");
  const CycleReport report = run_wall(bench, scenario, open, shown->tap, options).cycle;
  Figures found;
  found.server_share = (thread_cpu_s("panel") - before_s) / seconds;
  found.p99_us = 1e-3 * static_cast<double>(report.counts.wake.quantile_ns(0.99));
  found.p9999_us = 1e-3 * static_cast<double>(report.counts.wake.quantile_ns(0.9999));
  server.reset();
  if (others != nullptr) {
    long frames = 0;
    if (std::fscanf(others, "%ld", &frames) != 1) frames = 0;
    pclose(others);
    found.frames_per_s = static_cast<double>(frames) / pages / seconds;
  }
  return found;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

}  // namespace

int main(int argc, char** argv) {
  if (argc == 3 && std::strcmp(argv[1], "--pages") == 0)
    return be_pages(static_cast<std::uint16_t>(std::atoi(argv[2])));
  const double seconds = argc > 1 ? std::atof(argv[1]) : 5.0;
  const int core = argc > 2 ? std::atoi(argv[2]) : -1;
  std::vector<double> ratios, shares, frames;
  for (int k = 0; k < pairs; ++k) {
    const Figures alone = measure(seconds, core, false), seen = measure(seconds, core, true);
    fmt::print(
        "late at the wake-up, 99 % and 99.99 %: {:.1f} and {:.1f} us alone, {:.1f} and {:.1f} us "
        "with {} pages; {:.1f} frames a second each; the panel's thread {:.2f} % of a core, "
        "alone {:.2f} %\n",
        alone.p99_us, alone.p9999_us, seen.p99_us, seen.p9999_us, pages, seen.frames_per_s,
        100.0 * seen.server_share, 100.0 * alone.server_share);
    ratios.push_back(seen.p99_us / alone.p99_us);
    shares.push_back(seen.server_share);
    frames.push_back(seen.frames_per_s);
  }
  fmt::print(
      "median of {} pairs: 99 % {:.3f} times as late with {} pages; panel {:.2f} % of a core "
      "at {:.1f} frames a second each\n",
      pairs, median(ratios), pages, 100.0 * median(shares), median(frames));
  return 0;
}
