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

/// A shipped bench; its cart is empty, so that two seconds are enough to get to speed.
Bench shipped(const char* name) {
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/" + std::string(name) + ".yaml",
                    {"load.cart_mass=15 kg"}, STILLROTOR_BUILD_DIR);
}

void report(benchmark::State& state, const RunOutcome& outcome) {
  const double model_s = static_cast<double>(outcome.end_ps) * 1e-12;
  state.counters["x_real_time"] = benchmark::Counter(
      model_s * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
  state.counters["gate_edges_per_s"] = static_cast<double>(outcome.gate_edges) / model_s;
  state.counters["sensor_edges_per_s"] = static_cast<double>(outcome.sensor_edges) / model_s;
}

void run_without_record(benchmark::State& state, const char* file) {
  const Bench bench = shipped(file);
  const Scenario scenario = drive_off(2 * second, 2.4);
  RunOutcome outcome;
  for (auto _ : state) {
    Nowhere sink;
    outcome = run(bench, scenario, sink);
  }
  report(state, outcome);
}

void run_with_record(benchmark::State& state, const char* file) {
  const Bench bench = shipped(file);
  const auto folder = std::filesystem::temp_directory_path() / "stillrotor-run-benchmark";
  std::filesystem::create_directories(folder);
  const Scenario scenario = drive_off(2 * second, 2.4);
  RunOutcome outcome;
  for (auto _ : state) {
    Recorder recorder(folder, {});
    outcome = run(bench, scenario, recorder);
    recorder.finish(outcome.end_ps);
  }
  report(state, outcome);
  std::filesystem::remove_all(folder);
}

/// Who spends the time: the controller alone, with a world that answers at once.
class StillWorld final : public io::World {
 public:
  void drive(const io::Edge&) noexcept override {}
  double volts(io::ChannelId, io::Time) noexcept override { return 2.5; }
  io::Level level(io::LineId, io::Time) noexcept override { return io::Level::high; }
  void text(io::Time, std::string_view) noexcept override {}
};

void controller_alone(benchmark::State& state, const char* file) {
  const Bench bench = shipped(file);
  constexpr std::int64_t lasts_ps = 2 * second;
  for (auto _ : state) {
    StillWorld world;
    const auto controller = io::make_controller(bench.controller);
    controller->power(bench.controller_supply_V, io::Time(0), world);
    for (std::int64_t t = 0; t < lasts_ps; t += 100 * us) controller->run(io::Time(t + 100 * us));
  }
  state.counters["x_real_time"] = benchmark::Counter(2.0 * static_cast<double>(state.iterations()),
                                                     benchmark::Counter::kIsRate);
}

void whole(benchmark::internal::Benchmark* b) {
  b->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond);
}
BENCHMARK_CAPTURE(run_without_record, mid, "orchard-cart-mid")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, mid, "orchard-cart-mid")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, hub_stand_in, "orchard-cart-hub-stand-in")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, hub_stand_in, "orchard-cart-hub-stand-in")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, hub_firmware, "orchard-cart-hub")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, hub_firmware, "orchard-cart-hub")->Apply(whole);
BENCHMARK_CAPTURE(controller_alone, hub_firmware, "orchard-cart-hub")->Apply(whole);

}  // namespace

BENCHMARK_MAIN();
