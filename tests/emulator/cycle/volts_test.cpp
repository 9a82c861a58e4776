// A bench with converters in the cycle: what stands on the bus, what the record does not trust, and
// gates that come in as averages. The bus is recorded; each turn waits for its message.
#include <gtest/gtest.h>

#include <thread>

#include "io/analog/with_analog.hpp"
#include "tests/emulator/cycle/support.hpp"
#include "tests/io/analog/recorded_ioctl.hpp"

namespace stillrotor::test {
namespace {

Scenario standing(std::int64_t lasts_ps, std::vector<Action> timeline = {}) {
  Scenario scenario;
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = std::move(timeline);
  return scenario;
}

/// Throttle and bus voltage at 1.25 mV a code, the bus through a divider of 20.
io::AnalogConfig converter() {
  io::SpiDacConfig dac;
  dac.part = *io::find_dac_part("ad5624");
  dac.reference_V = 5.12;
  dac.outputs = {{.channel = io::channel::throttle, .address = 0, .most_V = 4.0, .safe_V = 0.85},
                 {.channel = io::channel::bus_voltage, .address = 1, .safe_V = 0.0}};
  return {.dacs = {dac}};
}

struct VoltsRun : CycleRun {
  explicit VoltsRun(const Scenario& scenario_) : CycleRun(hub_bench(), scenario_) {
    bench.analog = converter();
    auto lines = std::make_unique<ScriptedWires>(clock);
    lines->on_write = [this](const io::WireOutputs&) {  // the volts are on their way
      ++sent;
      hanging ? static_cast<void>(ioctl.wait_until_hanging()) : wait();
      shown_mV.push_back(volts_of(0));
      if (after_turn) after_turn(++turn);
    };
    controller = io::with_analog(std::move(lines), bench.analog, ioctl);
    controller->open();
    controller->arm(0);
    sent = 1;  // the safe levels
    wires_of_run = controller.get();
  }
  ~VoltsRun() { controller->close(); }
  void wait() const {
    while (ioctl.messages().size() + static_cast<std::size_t>(ioctl.failed) < sent)
      std::this_thread::yield();
  }
  double volts_of(std::size_t frame) {
    const auto bytes = ioctl.last().at(frame);
    return 1.25 * ((bytes[1] << 8 | bytes[2]) >> 4);
  }

  mutable io::RecordedIoctl ioctl;
  std::unique_ptr<io::WiredController> controller;
  std::function<void(int)> after_turn;
  int turn = 0;
  std::size_t sent = 0;
  bool hanging = false;
  std::vector<double> shown_mV;
};

Action throttle_at(std::int64_t at_ps, double volts) {
  return action(at_ps, ActionKind::throttle, volts);
}

TEST(Volts, WhatTheSensorsSayStandsOnTheBus) {
  VoltsRun run(standing(5 * ms, {throttle_at(2 * ms, 2.6)}));
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  ASSERT_EQ(run.shown_mV.size(), 50U);
  EXPECT_NEAR(run.shown_mV[10], 850.0, 0.7) << "at rest, to half a code";
  EXPECT_NEAR(run.shown_mV[30], 2600.0, 0.7);
  EXPECT_NEAR(run.volts_of(1), 48e3 / 20.0, 0.7) << "the bus, through its divider";
  EXPECT_TRUE(run.gaps().empty());
}

TEST(Volts, WithoutTheKeyNothingFeedsTheController) {
  Scenario scenario = standing(3 * ms);
  scenario.start.key = false;
  VoltsRun run(scenario);
  run.go();
  EXPECT_EQ(run.shown_mV.back(), 0.0);
  EXPECT_TRUE(run.gaps().empty());
}

TEST(Volts, CutVoltsAreAGap) {
  VoltsRun run(standing(20 * ms, {throttle_at(15 * ms, 4.3)}));
  run.go();
  EXPECT_NEAR(run.shown_mV.back(), 4000.0, 0.7);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "volts cut");
  EXPECT_LE(gaps[0].at_ps, 15 * ms);
  EXPECT_GE(gaps[0].at_ps, 13 * ms);
  EXPECT_EQ(gaps[0].to_ps, 20 * ms);
}

TEST(Volts, ATransferThatFailsIsAGapAndTheNextOneGoesOn) {
  VoltsRun run(standing(20 * ms));
  run.after_turn = [&run](int turn) {
    if (turn == 99) run.ioctl.fail_transfers(EIO);
    if (turn == 100) run.ioctl.fail_transfers(0);
  };
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "converter failed");
  EXPECT_LE(gaps[0].at_ps, 10 * ms);
  EXPECT_GE(gaps[0].to_ps, 10 * ms);
  EXPECT_LE(gaps[0].to_ps, 11 * ms);
  EXPECT_EQ(run.controller->counts().failed_transfers, 1U);
}

TEST(Volts, AStallThatIsOverIsAGap) {
  VoltsRun run(standing(20 * ms));
  run.after_turn = [&run](int turn) {
    if (turn == 99) run.ioctl.hang(run.hanging = true);
    if (turn != 104) return;
    // What hung, and the newest of what came meanwhile.
    run.sent = run.ioctl.messages().size() + 2;
    run.ioctl.hang(run.hanging = false);
    run.wait();
  };
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "volts late");
  EXPECT_LE(gaps[0].at_ps, 10 * ms);
  EXPECT_GE(gaps[0].to_ps, 10'300 * us);
}

TEST(Volts, AStallThatLastsEndsTheRun) {
  VoltsRun run(standing(20 * ms));
  run.after_turn = [&run](int turn) {
    if (turn == 99) run.ioctl.hang(run.hanging = true);
  };
  run.go();
  EXPECT_EQ(run.end, CycleEnd::wires_failed);
  EXPECT_LT(run.end_ps, 12 * ms);
  run.ioctl.hang(false);
}

/// Wires whose gates come in as averages: 60, 50 and 40 % behind their filters.
class AveragedWires final : public io::WiredController {
 public:
  explicit AveragedWires(CycleClock& clock) : clock_(clock) {}
  void open() override {}
  void arm(std::int64_t) override {}
  void read(io::EdgeBatch&) noexcept override {}
  bool write(const io::WireOutputs&) noexcept override { return true; }
  void make_safe() noexcept override {}
  void close() noexcept override {}
  io::WireCounts counts() const noexcept override { return {}; }
  io::GateVolts gate_volts() noexcept override {
    io::GateVolts volts;
    if (clock_.now_ns() < stops_ns) at_ns = clock_.now_ns();
    for (std::size_t leg = 0; leg < 3; ++leg)
      volts[2 * leg] = {3.0 - 0.5 * static_cast<double>(leg), io::Time(1000 * at_ns), true};
    return volts;
  }
  std::int64_t stops_ns = INT64_MAX, at_ns = 0;

 private:
  CycleClock& clock_;
};

struct AveragedRun : CycleRun {
  explicit AveragedRun(std::int64_t lasts_ps) : CycleRun(hub_bench(), standing(lasts_ps)) {
    bench.expects.pwm_frequency_Hz = 10e3;
    bench.cycle.period_s = 100e-6;
    bench.cycle.delay_s = 0.0;
    bench.cycle.gates.filtered = FilteredGateSettings{.complementary = true, .filter_s = 1e-3};
    io::SpiAdcConfig adc;
    adc.part = *io::find_adc_part("mcp3208");
    adc.period_s = 400e-6;
    adc.inputs = {{.name = "gates.UH", .filter_s = 1e-3}};
    bench.analog.adcs = {adc};
    wires_of_run = &averages;
  }
  AveragedWires averages{clock};
};

// By hand: 60 % of 100 us about the middle: on at 20 us, off at 80 us of each period. Of 48 V the
// legs stand at 28.8, 24 and 19.2 V: a current from U to W.
TEST(Volts, GatesBehindFiltersDriveThePlantWithTheirAverages) {
  AveragedRun run(10 * ms);
  run.go();
  EXPECT_EQ(run.end, CycleEnd::complete);
  EXPECT_EQ(run.end_ps, 10 * ms);
  const auto edges = run.sink.edges_of(io::line::gate_UH);
  ASSERT_GE(edges.size(), 190U);
  for (std::size_t k = 0; k < edges.size(); ++k)
    EXPECT_EQ(edges[k].at_ps % (100 * us), (edges[k].level != 0 ? 20 : 80) * us) << k;
  EXPECT_GT(run.sink.frames.back().value[0], 1.0F);
  EXPECT_LT(run.sink.frames.back().value[2], -1.0F);
  const KeptMark* mark = run.sink.find("gates averaged");
  ASSERT_NE(mark, nullptr);
  EXPECT_NE(mark->detail.find("from filtered voltages, time constant 1000 us"), std::string::npos)
      << mark->detail;
  EXPECT_EQ(run.gates.filter_s, 1e-3);
  EXPECT_EQ(run.late_gate_edges, 0U);
  EXPECT_TRUE(run.gaps().empty());
}

// By hand: 400 us, 50 us to wake, 15 us and a frame of 2.4 us; with the cycle's 100 us twice that
// is 1.1 ms.
TEST(Volts, AveragesThatGrowOldAreAGapAndThenTheEnd) {
  AveragedRun run(100 * ms);
  run.averages.stops_ns = 5 * ms_ns;
  run.go();
  EXPECT_EQ(run.end, CycleEnd::wires_failed);
  EXPECT_NEAR(static_cast<double>(run.end_ps), 16.35e9, 0.3e9) << "ten times 1.135 ms later";
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "gate averages old");
  EXPECT_NEAR(static_cast<double>(gaps[0].at_ps), 5e9, 0.2e9) << "since the last reading";
}

}  // namespace
}  // namespace stillrotor::test
