// What a run costs. Counter x_real_time: seconds of the run per second of processor time, all
// threads together. Counters beside it: what moved in one second of the run.
#include <benchmark/benchmark.h>
#include <time.h>

#include <filesystem>
#include <memory>
#include <utility>

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

/// A shipped bench; a cart is empty, so that two seconds are enough to get to speed.
Bench shipped(const std::string& name) {
  std::vector<std::string> set;
  if (name.find("cart") != std::string::npos) set.emplace_back("load.cart_mass=15 kg");
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/" + name + ".yaml", set,
                    STILLROTOR_BUILD_DIR);
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

double now_s() noexcept {
  timespec t{};
  clock_gettime(CLOCK_MONOTONIC, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

/// Who spends the time: a controller and its world with a stopwatch on each call between the two.
/// What the controller has for itself is its calls less the calls that it makes into the world. The
/// stopwatch's own time counts as the controller's where it runs inside it, some 25 ns a call.
class Timed final : public io::SimulatedController, public io::World {
 public:
  explicit Timed(std::unique_ptr<io::SimulatedController> controller)
      : controller_(std::move(controller)) {}
  double own_s() const noexcept { return inside_s_ - outside_s_; }

  void power(double volts, io::Time t, io::World& world) override {
    world_ = &world;
    controller_->power(volts, t, *this);
  }
  io::Time run(io::Time horizon) noexcept override {
    const Watch watch(inside_s_);
    return controller_->run(horizon);
  }
  void deliver(const io::Edge& edge) noexcept override {
    const Watch watch(inside_s_);
    controller_->deliver(edge);
  }
  io::Health health() const noexcept override { return controller_->health(); }
  std::string_view diagnosis() const noexcept override { return controller_->diagnosis(); }

  void drive(const io::Edge& edge) noexcept override {
    const Watch watch(outside_s_);
    world_->drive(edge);
  }
  double volts(io::ChannelId channel, io::Time t) noexcept override {
    const Watch watch(outside_s_);
    return world_->volts(channel, t);
  }
  io::Level level(io::LineId line, io::Time t) noexcept override {
    const Watch watch(outside_s_);
    return world_->level(line, t);
  }
  std::optional<io::Time> crossing(const io::Comparison& comparison, bool was_true, io::Time from,
                                   io::Time to) noexcept override {
    const Watch watch(outside_s_);
    return world_->crossing(comparison, was_true, from, to);
  }
  void text(io::Time t, std::string_view said) noexcept override { world_->text(t, said); }

 private:
  class Watch {
   public:
    explicit Watch(double& sum) : sum_(sum), from_s_(now_s()) {}
    ~Watch() { sum_ += now_s() - from_s_; }

   private:
    double& sum_;
    double from_s_;
  };

  std::unique_ptr<io::SimulatedController> controller_;
  io::World* world_ = nullptr;
  double inside_s_ = 0.0, outside_s_ = 0.0;
};

void controllers_share(benchmark::State& state, const char* file) {
  const Bench bench = shipped(file);
  const Scenario scenario = drive_off(2 * second, 2.4);
  RunOutcome outcome;
  double own_s = 0.0, all_s = 0.0;
  for (auto _ : state) {
    Nowhere sink;
    Timed controller(io::make_controller(bench.controller));
    outcome = test::run(bench, scenario, controller, sink);
    own_s += controller.own_s();
    all_s += outcome.wall_s;
  }
  report(state, outcome);
  state.counters["controllers_own_share"] = own_s / all_s;
}

void whole(benchmark::internal::Benchmark* b) {
  b->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond);
}
BENCHMARK_CAPTURE(run_without_record, mid, "orchard-cart-mid")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, mid_saturated, "orchard-cart-mid-saturated")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, mid, "orchard-cart-mid")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, hub_stand_in, "orchard-cart-hub-stand-in")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, hub_stand_in, "orchard-cart-hub-stand-in")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, hub_firmware, "orchard-cart-hub")->Apply(whole);
BENCHMARK_CAPTURE(run_with_record, hub_firmware, "orchard-cart-hub")->Apply(whole);
BENCHMARK_CAPTURE(run_without_record, fan_sensorless, "orchard-fan-sensorless")->Apply(whole);
BENCHMARK_CAPTURE(controllers_share, mid, "orchard-cart-mid")->Apply(whole);
BENCHMARK_CAPTURE(controllers_share, hub_firmware, "orchard-cart-hub")->Apply(whole);
BENCHMARK_CAPTURE(controllers_share, fan_sensorless, "orchard-fan-sensorless")->Apply(whole);

}  // namespace

BENCHMARK_MAIN();
