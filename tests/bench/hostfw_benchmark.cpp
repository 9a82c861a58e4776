// What a call of firmware's interrupt costs, in a process of its own and in the bench's, with an
// interrupt that does next to nothing; per PWM period of 50 us, its six edges included. Beside it
// one channel that was not sampled with the interrupt, which is one more hand-over.
#include <benchmark/benchmark.h>

#include "io/hostfw/hostfw.hpp"

namespace stillrotor::io {
namespace {

class StillWorld final : public World {
 public:
  void drive(const Edge&) noexcept override {}
  double volts(ChannelId, Time) noexcept override { return 2.5; }
  Level level(LineId, Time) noexcept override { return Level::low; }
  void text(Time, std::string_view) noexcept override {}
};

void period(benchmark::State& state, const char* firmware, bool in_process) {
  HostFirmwareConfig config;
  config.firmware = std::string(STILLROTOR_BUILD_DIR "/firmware/") + firmware + ".so";
  config.in_process = in_process;
  const auto controller = make_host_firmware(config);
  StillWorld world;
  Time now{};
  controller->power(5.0, now, world);
  const auto run_until = [&](Time end) {
    while (now < end) now = controller->run(end);
  };
  run_until(std::chrono::milliseconds(10));
  for (auto _ : state) run_until(now + Time{50'000'000});
}

BENCHMARK_CAPTURE(period, own_process, "bench_idle", false)->UseRealTime();
BENCHMARK_CAPTURE(period, own_process_one_question, "bench_asking", false)->UseRealTime();
BENCHMARK_CAPTURE(period, in_process, "bench_idle", true)->UseRealTime();
BENCHMARK_CAPTURE(period, in_process_one_question, "bench_asking", true)->UseRealTime();

}  // namespace
}  // namespace stillrotor::io

BENCHMARK_MAIN();
