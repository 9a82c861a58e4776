// How punctual and how complete polled edges are: another process switches six gates by PWM on a
// shared word and notes when it did; io/polled looks on. Prints errors of the stamps, losses, and
// how long the polling looked away.
//
// usage: stillrotor_bench_polled [seconds [core of the polling [core of the PWM]]]
// Best run as root on isolated cores: the polling then has SCHED_FIFO.
#include <sched.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <random>
#include <vector>

#include "io/polled/polled.hpp"
#include "io/polled/tick_clock.hpp"

namespace {

using namespace stillrotor::io;

constexpr double pwm_Hz = 20e3, dead_time_s = 1e-6;
constexpr std::int64_t unsure_ns = 150;  // a switch whose own time is known no better is left out

struct Switched {
  std::int64_t before_ns, after_ns;
  std::uint32_t line, high;
};
struct Shared {
  std::atomic<std::uint32_t> word;
  std::atomic<std::uint32_t> go, done;
  std::size_t count;
  Switched switched[1];
};

std::int64_t middle_ns(const Switched& s) { return (s.before_ns + s.after_ns) / 2; }

void bind_to(int core) {
  cpu_set_t cores;
  CPU_ZERO(&cores);
  CPU_SET(static_cast<unsigned>(core), &cores);
  if (core >= 0) sched_setaffinity(0, sizeof cores, &cores);
}

/// Times and levels of centre-aligned PWM with dead time and a duty that changes every period.
std::vector<Switched> plan(double seconds) {
  std::vector<Switched> all;
  std::mt19937 random(1);
  std::uniform_real_distribution<double> duty(0.1, 0.9);
  const double period = 1.0 / pwm_Hz;
  for (double start = 0.0; start < seconds; start += period)
    for (std::uint32_t leg = 0; leg < 3; ++leg) {
      const double half = 0.5 * period * duty(random), centre = start + 0.5 * period;
      const auto at = [&](double t, std::uint32_t line, std::uint32_t high) {
        const auto ns = static_cast<std::int64_t>(t * 1e9);
        all.push_back({ns, ns, line, high});
      };
      at(centre - half, 2 * leg + 1, 0);
      at(centre - half + dead_time_s, 2 * leg, 1);
      at(centre + half, 2 * leg, 0);
      at(centre + half + dead_time_s, 2 * leg + 1, 1);
    }
  std::sort(all.begin(), all.end(),
            [](const Switched& a, const Switched& b) { return a.before_ns < b.before_ns; });
  return all;
}

/// The other process.
void switch_gates(Shared& shared, const std::vector<Switched>& planned, int core) {
  bind_to(core);
  if (nice(-20) == -1) std::fputs("PWM without priority\n", stderr);
  while (shared.go.load() == 0) sched_yield();
  std::int64_t start = monotonic_ns() + 1'000'000;
  for (const Switched& next : planned) {
    while (monotonic_ns() < start + next.before_ns) {
    }
    const std::uint32_t now = shared.word.load(std::memory_order_relaxed), bit = 1U << next.line;
    Switched& told = shared.switched[shared.count];
    told = {monotonic_ns(), 0, next.line, next.high};
    shared.word.store(next.high != 0 ? now | bit : now & ~bit);
    told.after_ns = monotonic_ns();
    ++shared.count;
    // Who was interrupted does not catch up: no controller's pulses are that short.
    if (const std::int64_t late_ns = told.after_ns - start - next.before_ns; late_ns > 300)
      start += late_ns;
  }
  shared.done = 1;
}

double at(std::vector<double>& sorted, double part) {
  if (sorted.empty()) return NAN;
  return sorted[static_cast<std::size_t>(part * static_cast<double>(sorted.size() - 1))];
}

}  // namespace

int main(int argc, char** argv) {
  const double seconds = argc > 1 ? std::atof(argv[1]) : 3.0;
  const int poll_core = argc > 2 ? std::atoi(argv[2]) : 0,
            pwm_core = argc > 3 ? std::atoi(argv[3]) : 1;
  const std::vector<Switched> planned = plan(seconds);
  const int file = memfd_create("registers", 0);
  const std::size_t size = sizeof(Shared) + planned.size() * sizeof(Switched);
  if (file < 0 || ftruncate(file, static_cast<off_t>(size)) != 0) return 4;
  auto& shared = *static_cast<Shared*>(
      mmap(nullptr, size, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_POPULATE, file, 0));
  shared.word = 0b101010;  // the low switches, which the plan turns off first
  if (const pid_t child = fork(); child == 0) {
    switch_gates(shared, planned, pwm_core);
    _exit(0);
  }

  // The reader, as the cycle would be: more urgent than the PWM, asleep most of the time.
  sched_param urgent{};
  urgent.sched_priority = 50;
  if (sched_setscheduler(0, SCHED_FIFO, &urgent) != 0) std::puts("reading without priority");

  PolledConfig config;
  config.registers.file = "/proc/self/fd/" + std::to_string(file);
  config.registers.level = 0;
  for (std::size_t k = 0; k < gate_count; ++k) config.lines[k].bit = static_cast<int>(k);
  config.gap_tolerance_s = dead_time_s;
  config.capture = {poll_core, 90};
  auto controller = make_polled(config);
  try {
    controller->open();
  } catch (const ConfigError& error) {
    std::printf("%s\nGoing on without.\n\n", error.what());
    config.capture.priority = 0;
    controller = make_polled(config);
    controller->open();
  }
  const std::int64_t armed_ns = monotonic_ns();
  controller->arm(armed_ns);

  std::vector<Edge> edges;
  std::vector<Gap> gaps;
  EdgeBatch& batch = *new EdgeBatch;
  shared.go = 1;
  for (bool last = false;;) {
    const bool done = shared.done.load() != 0;
    do {
      batch.clear();
      controller->read(batch);
      edges.insert(edges.end(), batch.edges.begin(), batch.edges.begin() + batch.edge_count);
      gaps.insert(gaps.end(), batch.gaps.begin(), batch.gaps.begin() + batch.gap_count);
    } while (batch.edge_count + batch.gap_count > 0);
    if (last) break;
    last = done;
    usleep(5'000);
  }
  wait(nullptr);

  // Each edge that was seen belongs to the nearest switch of its line and direction, which are at
  // least 5 us apart; of two that claim one switch the nearer has it.
  std::vector<double> errors_us;
  std::size_t lost = 0, lost_outside = 0, unsure = 0, gap_count = 0;
  double away_s = 0.0;
  for (const Gap& gap : gaps)
    if (gap.line == line::gate_UH) {
      ++gap_count;
      away_s += static_cast<double>((gap.to - gap.from).count()) * 1e-12;
    }
  for (std::uint32_t line = 0; line < gate_count; ++line)
    for (const std::uint32_t high : {0U, 1U}) {
      std::vector<const Switched*> real;
      for (std::size_t k = 0; k < shared.count; ++k)
        if (shared.switched[k].line == line && shared.switched[k].high == high)
          real.push_back(&shared.switched[k]);
      constexpr std::int64_t unclaimed = INT64_MAX;
      std::vector<std::int64_t> error_ns(real.size(), unclaimed);
      for (const Edge& edge : edges) {
        if (index(edge.line) != line || (edge.level == Level::high) != (high != 0)) continue;
        const std::int64_t seen_ns = armed_ns + edge.at.count() / 1000;
        auto nearest =
            std::lower_bound(real.begin(), real.end(), seen_ns,
                             [](const Switched* r, std::int64_t ns) { return r->after_ns < ns; });
        if (nearest == real.end() ||
            (nearest != real.begin() &&
             seen_ns - (*(nearest - 1))->after_ns < (*nearest)->before_ns - seen_ns))
          --nearest;
        std::int64_t& error = error_ns[static_cast<std::size_t>(nearest - real.begin())];
        const std::int64_t now = seen_ns - middle_ns(**nearest);
        if (error == unclaimed || std::abs(now) < std::abs(error)) error = now;
      }
      std::vector<const Gap*> blind;
      for (const Gap& gap : gaps)
        if (index(gap.line) == line) blind.push_back(&gap);
      const auto inside = [&](const Switched& s) {
        constexpr std::int64_t slack_ns = 200;
        const std::int64_t from = (s.before_ns - armed_ns - slack_ns) * 1000,
                           to = (s.after_ns - armed_ns + slack_ns) * 1000;
        return std::any_of(blind.begin(), blind.end(), [&](const Gap* gap) {
          return gap->from.count() <= to && gap->to.count() >= from;
        });
      };
      for (std::size_t k = 0; k < real.size(); ++k) {
        if (error_ns[k] == unclaimed) {
          ++lost;
          lost_outside += inside(*real[k]) ? 0 : 1;
        } else if (real[k]->after_ns - real[k]->before_ns > unsure_ns) {
          ++unsure;
        } else if (!inside(*real[k])) {
          errors_us.push_back(static_cast<double>(error_ns[k]) * 1e-3);
        }
      }
    }
  double mean = 0.0;
  for (const double error : errors_us) mean += error / static_cast<double>(errors_us.size());
  for (double& error : errors_us) error = std::abs(error);
  std::sort(errors_us.begin(), errors_us.end());
  const WireCounts counts = controller->counts();
  const auto gap_ns = [&](double part) {
    return static_cast<double>(controller->poll_gaps().quantile(part)) * controller->ns_per_tick();
  };
  std::printf("%zu switches of 6 lines in %g s, PWM %g kHz, dead time %g us\n", shared.count,
              seconds, pwm_Hz * 1e-3, dead_time_s * 1e6);
  std::printf("edges seen %zu, lost %zu, of them outside every gap %zu\n", edges.size(), lost,
              lost_outside);
  std::printf("gaps above the dead time: %zu, %.3f ms in all; counted %zu over the lines\n",
              gap_count, away_s * 1e3, static_cast<std::size_t>(counts.gaps));
  std::printf(
      "stamp error, outside gaps: mean %+.0f ns; 50 %% %.0f ns, 99 %% %.0f ns, 99.9 %% %.0f ns, "
      "most %.0f ns (%zu edges; %zu left out, own time unsure)\n",
      mean * 1e3, at(errors_us, 0.5) * 1e3, at(errors_us, 0.99) * 1e3, at(errors_us, 0.999) * 1e3,
      at(errors_us, 1.0) * 1e3, errors_us.size(), unsure);
  std::printf("between two looks: 50 %% %.0f ns, 99 %% %.0f ns, 99.99 %% %.0f ns, most %.0f us\n",
              gap_ns(0.5), gap_ns(0.99), gap_ns(0.9999), gap_ns(1.0) * 1e-3);
  return 0;
}
