// What recording costs: processor time, of both threads, for one second of a run with 20,000 frames
// and 200,000 gate edges. Counter model_s_per_cpu_s: how much faster than the run's own time.
#include <benchmark/benchmark.h>

#include <cmath>
#include <filesystem>
#include <vector>

#include "emulator/record/recorder.hpp"

namespace {

using namespace stillrotor;

constexpr int frames_a_second = 20'000, edges_a_frame = 10;
constexpr std::int64_t grid_ps = 1'000'000'000'000 / frames_a_second;

void RecordOneSecond(benchmark::State& state) {
  const auto folder = std::filesystem::temp_directory_path() / "stillrotor-record-benchmark";
  std::filesystem::create_directories(folder);
  // Frames made beforehand: their making is not what is measured.
  std::vector<Frame> frames(1000);
  for (std::size_t k = 0; k < frames.size(); ++k) {
    for (std::size_t s = 0; s < signal_count; ++s) {
      frames[k].value[s] = std::sin(static_cast<float>(k * (s + 1)) * 1e-3F);
    }
  }
  {
    Recorder recorder(folder, {});
    std::int64_t frame_number = 0;
    std::uint8_t level = 0;
    for (auto _ : state) {
      for (int k = 0; k < frames_a_second; ++k) {
        const std::int64_t start_ps = frame_number * grid_ps;
        for (int e = 0; e < edges_a_frame; ++e) {
          recorder.edge({start_ps + (e + 1) * grid_ps / (edges_a_frame + 1),
                         static_cast<std::uint16_t>(e % 6), level});
        }
        level ^= 1U;
        Frame& frame = frames[static_cast<std::size_t>(frame_number) % frames.size()];
        frame.at_ps = ++frame_number * grid_ps;
        recorder.frame(frame);
      }
    }
    recorder.finish(frame_number * grid_ps);
  }
  state.counters["model_s_per_cpu_s"] =
      benchmark::Counter(static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
  std::filesystem::remove_all(folder);
}
BENCHMARK(RecordOneSecond)->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond)->Iterations(200);

/// What a record costs however short the run is.
void BeginAndEnd(benchmark::State& state) {
  const auto folder = std::filesystem::temp_directory_path() / "stillrotor-record-benchmark";
  for (auto _ : state) {
    state.PauseTiming();
    std::filesystem::create_directories(folder);
    state.ResumeTiming();
    {
      Recorder recorder(folder, {});
      recorder.finish(1'000'000'000);
    }
    state.PauseTiming();
    std::filesystem::remove_all(folder);
    state.ResumeTiming();
  }
}
BENCHMARK(BeginAndEnd)->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond)->Iterations(100);

}  // namespace

BENCHMARK_MAIN();
