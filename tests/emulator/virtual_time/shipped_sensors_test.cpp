// The shipped benches with every kind of sensor run, and each channel and line comes alive.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <string>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

Bench shipped(const std::string& name, const std::vector<std::string>& overrides = {}) {
  return load_bench(std::filesystem::path(STILLROTOR_SOURCE_DIR) / "configs/benches" / name,
                    overrides, "/none");
}

/// The bench's own stand-in drives, and every channel is read once a millisecond beside it.
class Watched final : public io::SimulatedController {
 public:
  explicit Watched(const Bench& bench) : inner_(io::make_controller(bench.controller)) {}
  void power(double volts, io::Time t, io::World& world) override {
    world_ = &world;
    inner_->power(volts, t, world);
  }
  io::Time run(io::Time horizon) noexcept override {
    const io::Time reached = inner_->run(horizon);
    if (reached.count() >= next_ps_ && world_ != nullptr) {
      next_ps_ = reached.count() + ms;
      for (std::uint16_t k = 0; k < io::channel_count; ++k) {
        const double v = world_->volts(io::ChannelId{k}, reached);
        auto [at, fresh] = range.try_emplace(std::string(io::name(io::ChannelId{k})), v, v);
        at->second = {std::min(at->second.first, v), std::max(at->second.second, v)};
      }
    }
    return reached;
  }
  void deliver(const io::Edge& edge) noexcept override {
    ++edges[std::string(io::name(edge.line))];
    inner_->deliver(edge);
  }
  io::Health health() const noexcept override { return inner_->health(); }
  std::string_view diagnosis() const noexcept override { return inner_->diagnosis(); }

  std::map<std::string, std::pair<double, double>> range;  // volts
  std::map<std::string, int> edges;

 private:
  std::unique_ptr<io::SimulatedController> inner_;
  io::World* world_ = nullptr;
  std::int64_t next_ps_ = 0;
};

// A second of driving off. What moves with the rotor or the current moves; temperatures stand at
// 25 deg C: silicon 1 kohm and NTC 10 kohm below 4.7 kohm: 5 * 1 / 5.7 and 5 * 10 / 14.7 V.
TEST(ShippedSensors, OfTheMidBenchAllShowSomething) {
  const Bench bench = shipped("orchard-cart-mid-sensors.yaml");
  EXPECT_NEAR(bench.controls.throttle_idle_V, 0.17 * 5.0, 1e-12);
  Watched controller(bench);
  KeepingSink sink;
  const RunOutcome outcome = run(bench, drive_off(1000 * ms, 2.0), controller, sink);
  EXPECT_EQ(outcome.controller, io::Health::running);
  const auto spread = [&](const std::string& name) {
    return controller.range[name].second - controller.range[name].first;
  };
  for (const char* name : {"phase_current.U", "dc_link_current", "phase_voltage.U"})
    EXPECT_GT(spread(name), 0.01) << name;
  EXPECT_GT(spread("angle.sin"), 0.9);
  EXPECT_GT(spread("angle.cos"), 0.9);
  EXPECT_NEAR(controller.range["temperature.motor"].first, 5.0 / 5.7, 1e-9);
  EXPECT_NEAR(controller.range["temperature.bridge"].first, 50.0 / 14.7, 1e-9);
  EXPECT_NEAR(controller.edges["angle.data"], 2000, 10);  // 1 kHz
  EXPECT_GT(controller.edges["hall.U"], 10);
  EXPECT_GT(controller.edges["encoder.A"], 100);
}

TEST(ShippedSensors, OfTheHubBenchRunWithEitherClockedSensor) {
  for (const char* output : {"ssi", "spi"}) {
    const Bench bench = shipped("orchard-cart-hub-sensors.yaml",
                                {std::string("sensors.absolute_angle.output=") + output});
    Watched controller(bench);
    KeepingSink sink;
    const RunOutcome outcome = run(bench, drive_off(800 * ms, 2.0), controller, sink);
    EXPECT_EQ(outcome.controller, io::Health::running);
    EXPECT_GT(controller.edges["hall.U"], 1);
    EXPECT_GT(controller.range["phase_current.U"].second, 2.51);
  }
}

}  // namespace
}  // namespace stillrotor::test
