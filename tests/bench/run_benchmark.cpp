// What a run costs. Counter x_real_time: seconds of the run per second of processor time, all
// threads together. Counters beside it: what moved in one second of the run.
#include <benchmark/benchmark.h>

#include <filesystem>

#include "emulator/record/recorder.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::test;

class Nowhere final : public RunSink {
 public:
  void frame(const Frame& f) noexcept override { benchmark::DoNotOptimize(f.value[0]); }
  void edge(const LineEdge&) noexcept override {}
  void mark(MarkKind, std::int64_t, std::string_view, std::string_view,
            std::int64_t) noexcept override {}
};

void report(benchmark::State& state, const RunOutcome& outcome) {
  const double model_s = static_cast<double>(outcome.end_ps) * 1e-12;
  state.counters["x_real_time"] = benchmark::Counter(
      model_s * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
  state.counters["gate_edges_per_s"] = static_cast<double>(outcome.gate_edges) / model_s;
  state.counters["sensor_edges_per_s"] = static_cast<double>(outcome.sensor_edges) / model_s;
}

void run_without_record(benchmark::State& state, const Bench& bench) {
  const Scenario scenario = drive_off(2 * second, 2.6);
  RunOutcome outcome;
  for (auto _ : state) {
    Nowhere sink;
    outcome = run(bench, scenario, sink);
  }
  report(state, outcome);
}

void run_with_record(benchmark::State& state, const Bench& bench) {
  const auto folder = std::filesystem::temp_directory_path() / "stillrotor-run-benchmark";
  std::filesystem::create_directories(folder);
  const Scenario scenario = drive_off(2 * second, 2.6);
  RunOutcome outcome;
  for (auto _ : state) {
    Recorder recorder(folder, {});
    outcome = run(bench, scenario, recorder);
    recorder.finish(outcome.end_ps);
  }
  report(state, outcome);
  std::filesystem::remove_all(folder);
}

BENCHMARK_CAPTURE(run_without_record, mid, mid_bench())
    ->MeasureProcessCPUTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(run_with_record, mid, mid_bench())
    ->MeasureProcessCPUTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(run_without_record, hub, hub_bench())
    ->MeasureProcessCPUTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(run_with_record, hub, hub_bench())
    ->MeasureProcessCPUTime()
    ->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
