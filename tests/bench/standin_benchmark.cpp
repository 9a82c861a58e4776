// What a built-in controller costs per PWM period, edges and reads included, in a world that
// answers at once.
#include <benchmark/benchmark.h>

#include "io/standin/standin.hpp"

namespace stillrotor::io {
namespace {

/// A motor at rest; the throttle is opened when told.
class StillWorld final : public World {
 public:
  void drive(const Edge&) noexcept override { ++edges; }
  double volts(ChannelId id, Time) noexcept override {
    return id == channel::throttle ? throttle_V : id == channel::bus_voltage ? 2.4 : 2.5;
  }
  Level level(LineId id, Time) noexcept override {
    return id == line::hall_U || id == line::key ? Level::high : Level::low;
  }
  void text(Time, std::string_view) noexcept override {}
  double throttle_V = 0.85;
  std::uint64_t edges = 0;
};

void periods(benchmark::State& state, std::unique_ptr<SimulatedController> controller) {
  constexpr Time look_ahead{100'000'000};
  StillWorld world;
  Time now{};
  const auto run_until = [&](Time end) {
    while (now < end) now = controller->run(std::min(end, now + look_ahead));
  };
  controller->power(5.0, now, world);
  run_until(std::chrono::milliseconds(50));
  world.throttle_V = 1.5;
  run_until(std::chrono::milliseconds(500));
  world.edges = 0;
  for (auto _ : state) run_until(now + Time{62'500'000});  // 16 kHz
  state.counters["edges_per_period"] =
      static_cast<double>(world.edges) / static_cast<double>(state.iterations());
}

BENCHMARK_CAPTURE(periods, six_step, make_six_step({}));
BENCHMARK_CAPTURE(periods, field_oriented, make_field_oriented({}));
BENCHMARK_CAPTURE(periods, volts_per_hertz, make_volts_per_hertz({}));

}  // namespace
}  // namespace stillrotor::io

BENCHMARK_MAIN();
