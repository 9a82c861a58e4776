// How much faster the plant is than ngspice on the same drive: 10 ms of sine PWM at 20 kHz, the
// plant in this process, ngspice as a program of its own (start and netlist included). Counters:
// what each took, their ratio in processor and in wall time, and how far apart the currents are.
#include <benchmark/benchmark.h>
#include <time.h>

#include <chrono>

#include "tests/reference/ngspice/model/drives.hpp"
#include "tests/reference/ngspice/model/netlist.hpp"
#include "tests/reference/ngspice/model/side_by_side.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::reference;

struct Cost {
  double cpu_s = 0.0, wall_s = 0.0;
};

Cost now() noexcept {
  timespec cpu{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &cpu);
  const std::chrono::duration<double> wall = std::chrono::steady_clock::now().time_since_epoch();
  return {static_cast<double>(cpu.tv_sec) + 1e-9 * static_cast<double>(cpu.tv_nsec), wall.count()};
}

/// Mean of many, so that the clock's own step does not count.
Cost plant_run(const SpiceExperiment& e) {
  constexpr int repetitions = 100;
  plant::Drive drive = start_plant(e);
  const plant::DriveState start = drive.state();
  const Cost begin = now();
  for (int n = 0; n < repetitions; ++n) {
    drive.restore(start);
    replay(drive, e.edges, 0, ps(e.lasts_s));
    benchmark::DoNotOptimize(drive.state().i_alpha_A);
  }
  const Cost end = now();
  return {(end.cpu_s - begin.cpu_s) / repetitions, (end.wall_s - begin.wall_s) / repetitions};
}

void beside_ngspice(benchmark::State& state, const SpiceAccuracy& accuracy) {
  if (ngspice_program().empty()) {
    state.SkipWithError("no ngspice in PATH");
    return;
  }
  const SpiceExperiment e = sine_pwm();
  const std::string circuit = netlist(e, accuracy);
  Cost ours, theirs;
  SpiceRun run;
  for (auto _ : state) {
    const Cost plant = plant_run(e);
    run = run_ngspice(circuit);
    ours = {ours.cpu_s + plant.cpu_s, ours.wall_s + plant.wall_s};
    theirs = {theirs.cpu_s + run.cpu_s, theirs.wall_s + run.wall_s};
  }
  const auto runs = static_cast<double>(state.iterations());
  state.counters["plant_cpu_ms"] = 1e3 * ours.cpu_s / runs;
  state.counters["ngspice_cpu_ms"] = 1e3 * theirs.cpu_s / runs;
  state.counters["ratio_cpu"] = theirs.cpu_s / ours.cpu_s;
  state.counters["ratio_wall"] = theirs.wall_s / ours.wall_s;
  state.counters["difference_ppm"] = compare(e, run).ppm();
}

// As the tests run it, and as coarsely as it still follows the edges.
BENCHMARK_CAPTURE(beside_ngspice, as_in_the_tests, SpiceAccuracy{})->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(beside_ngspice, coarse,
                  SpiceAccuracy{.step_max_s = 5e-6, .relative = 1e-3, .gate_ramp_s = 1e-9})
    ->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
