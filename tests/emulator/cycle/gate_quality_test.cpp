// Gate quality in the cycle: what the plant gets, what the run says of it, what the record does.
#include <gtest/gtest.h>

#include "tests/emulator/cycle/support.hpp"
#include "tests/emulator/gate_quality/pwm_edges.hpp"

namespace stillrotor::test {
namespace {

/// The PWM of support.hpp on a bench that knows it: 10 kHz, 2 us of dead time.
struct GateRun : CycleRun {
  explicit GateRun(std::int64_t lasts_ps) : CycleRun(hub_bench(), standing(lasts_ps)) {
    bench.expects.pwm_frequency_Hz = 10e3;
    bench.expects.dead_time_s = 2e-6;
    set_delay_us(50);
    wires.script = pwm(lasts_ps);
  }
  static Scenario standing(std::int64_t lasts_ps) {
    Scenario scenario;
    scenario.lasts_ps = lasts_ps;
    scenario.start.key = true;
    return scenario;
  }
  void set_delay_us(int delay_us) {
    bench.cycle.delay_s = 1e-6 * delay_us;
    plan.delay_ns = delay_us * us_ns;
  }
  /// The first edge of this sort from here on.
  io::Edge& find(std::int64_t from_ps, io::LineId line, io::Level level) {
    return *std::find_if(wires.script.begin(), wires.script.end(), [&](const io::Edge& e) {
      return e.at.count() >= from_ps && e.line == line && e.level == level;
    });
  }
  std::vector<std::int64_t> times(io::LineId line) const {
    std::vector<std::int64_t> found;
    for (const auto& edge : sink.edges_of(line)) found.push_back(edge.at_ps);
    return found;
  }
};

/// UL goes off 1 us after UH has come on, at 5.023 ms: a stamp 3 us late.
struct OverlapRun : GateRun {
  explicit OverlapRun(double tolerance_s) : GateRun(10 * ms) {
    bench.cycle.gates.overlap_tolerance_s = tolerance_s;
    find(5 * ms, io::line::gate_UL, io::Level::low).at += io::Time(3 * us);
    by_time(wires.script);
    go();
  }
  bool has(io::LineId line, std::int64_t at_ps) const {
    const auto all = times(line);
    return std::find(all.begin(), all.end(), at_ps) != all.end();
  }
};

// By hand: on at 5023 us, off at 5024 us; one dead time of 2 us about their middle.
TEST(GateQuality, OverlapsOfJitterAreRepairedCountedAndAGap) {
  const OverlapRun run(3e-6);
  EXPECT_EQ(run.gates.cleaning.repaired, 1U);
  EXPECT_EQ(run.gates.cleaning.real, 0U);
  EXPECT_EQ(run.gates.cleaning.longest_repaired, io::Time(1 * us));
  EXPECT_TRUE(run.has(io::line::gate_UL, 5022'500'000));
  EXPECT_TRUE(run.has(io::line::gate_UH, 5024'500'000));
  EXPECT_EQ(run.sink.find("shoot-through"), nullptr);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "overlap repaired");
  EXPECT_EQ(gaps[0].at_ps, 5023 * us);
  EXPECT_EQ(gaps[0].to_ps, 5024 * us);
  EXPECT_EQ(run.late_gate_edges, 0U);
}

TEST(GateQuality, LongerOverlapsAreRealAndReachThePlant) {
  const OverlapRun run(0.5e-6);
  EXPECT_EQ(run.gates.cleaning.repaired, 0U);
  EXPECT_EQ(run.gates.cleaning.real, 1U);
  EXPECT_EQ(run.gates.cleaning.longest_real, io::Time(1 * us));
  EXPECT_NE(run.sink.find("shoot-through"), nullptr);
  EXPECT_TRUE(run.gaps().empty());
}

// Tolerance 3 us and dead time 2 us hold edges for 4 us: of 50 us of delay 46 are the wires'.
TEST(GateQuality, TheHoldIsTakenOutOfTheDelay) {
  for (const std::int64_t transport_us : {45, 47}) {
    GateRun run(10 * ms);
    run.bench.cycle.gates.overlap_tolerance_s = 3e-6;
    run.wires.transport_ns = transport_us * us_ns;
    // One that stands just there: 53.5 us before the deadline of 5.1 ms.
    run.find(5 * ms, io::line::gate_WH, io::Level::high).at = io::Time(5046'500'000 + 7'000'000);
    by_time(run.wires.script);
    run.go();
    EXPECT_EQ(run.gates.hold, io::Time(4 * us));
    EXPECT_EQ(run.late_gate_edges, transport_us == 45 ? 0U : 1U);
    EXPECT_EQ(run.gaps().empty(), transport_us == 45);
    EXPECT_EQ(run.end_ps, 10 * ms);
  }
}

TEST(GateQuality, TheSkewOfALineIsTakenOffItsStamps) {
  GateRun plain(10 * ms), skewed(10 * ms), negative(10 * ms);
  for (io::Edge& edge : skewed.wires.script)
    if (edge.line == io::line::gate_UH) edge.at += io::Time(3 * us);
  for (io::Edge& edge : negative.wires.script)
    if (edge.line == io::line::gate_UH) edge.at -= io::Time(3 * us);
  by_time(skewed.wires.script);
  by_time(negative.wires.script);
  skewed.bench.cycle.gates.skew_s[0] = 3e-6;
  negative.bench.cycle.gates.skew_s[0] = -3e-6;
  for (GateRun* run : {&plain, &skewed, &negative}) run->go();
  EXPECT_GT(plain.times(io::line::gate_UH).size(), 150U);
  for (const GateRun* run : {&skewed, &negative}) {
    EXPECT_EQ(run->times(io::line::gate_UH), plain.times(io::line::gate_UH));
    EXPECT_EQ(run->gates.cleaning.real, 0U);
    EXPECT_EQ(run->late_gate_edges, 0U);
  }
}

TEST(GateQuality, APeriodWithoutItsPulseIsCountedAndAGap) {
  GateRun run(20 * ms);
  std::erase_if(run.wires.script, [](const io::Edge& e) {
    return io::index(e.line) < 2 && e.at.count() > 12 * ms && e.at.count() < 12'100 * us;
  });
  run.go();
  EXPECT_EQ(run.gates.legs[0].missing, 1U);
  EXPECT_EQ(run.gates.legs[1].missing, 0U);
  const auto gaps = run.gaps();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].name, "PWM pulse missing");
  EXPECT_LE(gaps[0].at_ps, 12 * ms);
  EXPECT_GE(gaps[0].to_ps, 12'100 * us);
  EXPECT_LE(gaps[0].to_ps - gaps[0].at_ps, 500 * us);
}

// 64 centres estimate their scatter to some 9 % (1 / sqrt(2 * 62)); three of that.
TEST(GateQuality, TheJitterOfTheStampsIsMeasured) {
  GateRun run(60 * ms);
  run.wires.script = edges_of({100e-6, 2e-6, 0.2e-6, 3}, 590, [](auto, double) { return 0.5; });
  run.go();
  for (const LegPwm& leg : run.gates.legs) {
    EXPECT_TRUE(leg.known);
    EXPECT_NEAR(leg.period_s, 100e-6, 0.01e-6);
    EXPECT_NEAR(leg.jitter_s, 0.2e-6, 0.06e-6);
  }
}

// The same PWM 7 us later in each period: the shares are the same, so what the plant gets is the
// PWM that stands centred.
TEST(GateQuality, AveragedGatesStandCentredAndTheRecordSaysSo) {
  GateRun plain(20 * ms), averaged(20 * ms);
  averaged.bench.cycle.gates.averaged = true;
  averaged.set_delay_us(150);
  for (io::Edge& edge : averaged.wires.script) edge.at += io::Time(7 * us);
  plain.go();
  averaged.go();
  EXPECT_EQ(averaged.end_ps, 20 * ms);
  EXPECT_EQ(averaged.gates.hold, io::Time(100 * us));
  EXPECT_TRUE(averaged.gates.averaged);
  EXPECT_EQ(averaged.gates.dropped, 0U);
  EXPECT_EQ(averaged.late_gate_edges, 0U);
  const auto inner = [](const GateRun& run, io::LineId line) {
    std::vector<std::int64_t> found;
    for (const std::int64_t t : run.times(line))
      if (t > 1 * ms && t < 19 * ms) found.push_back(t);
    return found;
  };
  for (std::uint16_t k = 0; k < io::gate_count; ++k) {
    EXPECT_EQ(inner(averaged, io::LineId{k}), inner(plain, io::LineId{k})) << k;
    EXPECT_EQ(inner(plain, io::LineId{k}).size(), 360U);
  }
  ASSERT_NE(averaged.sink.find("gates averaged"), nullptr);
  EXPECT_NE(averaged.sink.find("gates averaged")->detail.find("over 100 us"), std::string::npos);
  EXPECT_EQ(plain.sink.find("gates averaged"), nullptr);
  EXPECT_TRUE(averaged.gaps().empty());
}

TEST(GateQuality, ABenchThatHoldsEdgesLongerThanItsDelayIsNotBuilt) {
  GateRun run(1 * ms);
  run.bench.cycle.gates.averaged = true;
  EXPECT_THROW(run.go(), io::ConfigError);
}

}  // namespace
}  // namespace stillrotor::test
