// Lines of known latency, jitter, skew and capacity: what is measured is what was put in.
#include "emulator/calibration/loop_measures.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/emulator/calibration/loop_wires.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;

struct Loop {
  explicit Loop(std::vector<Joint> joints = as_planned()) : wires(clock, std::move(joints)) {
    settings.fastest_per_s = 30e3;
    settings.toggles = 300;
    lines.arm();
  }
  LoopMeasures measure() { return measure_loop(lines, pairs, settings); }
  std::string failure() {
    try {
      measure();
      return "";
    } catch (const MeasurementFailed& error) {
      return error.what();
    }
  }

  std::vector<LoopPair> pairs = loop_pairs(loop_bench());
  LookingClock clock;
  LoopWires wires;
  HeldLines lines{wires, clock, 200'000};
  LoopSettings settings;
};

TEST(LoopMeasures, GivesBackLatencyByLineAndDirection) {
  auto joints = as_planned();
  joints[0].rise_ns = 3500;
  joints[0].fall_ns = 3100;
  joints[2].rise_ns = joints[2].fall_ns = 5200;
  const LoopMeasures found = Loop(joints).measure();
  ASSERT_EQ(found.lines.size(), 5U);
  // Without jitter each trial is the same; sums of 300 doubles round.
  EXPECT_NEAR(found.lines[0].rise_s, 3.5e-6, 1e-13);
  EXPECT_NEAR(found.lines[0].fall_s, 3.1e-6, 1e-13);
  EXPECT_NEAR(found.lines[1].rise_s, 3.0e-6, 1e-13);
  EXPECT_NEAR(found.lines[2].fall_s, 5.2e-6, 1e-13);
  EXPECT_NEAR(found.write_s, 5.2e-6, 1e-13);  // the last of all
  EXPECT_NEAR(found.jitter_s, 0.0, 1e-13);
  EXPECT_EQ(found.interrupted, 0);
}

TEST(LoopMeasures, GivesBackJitterWithoutTheSkew) {
  auto joints = as_planned();
  joints[1].rise_ns = 9000;
  Loop loop(joints);
  loop.wires.jitter_ns = 800.0;
  const LoopMeasures found = loop.measure();
  // 3000 trials: the rms of a normal distribution is known to 1 / sqrt(2 x 3000) = 1.3 %; of one
  // line, 600 of them, to 2.9 %. Three times that.
  EXPECT_NEAR(found.jitter_s, 0.8e-6, 0.039 * 0.8e-6);
  for (const LineDelay& line : found.lines) EXPECT_NEAR(line.jitter_s, 0.8e-6, 0.087 * 0.8e-6);
  // A mean of 300: 0.8 us / sqrt 300 = 46 ns. Three times that.
  EXPECT_NEAR(found.lines[1].rise_s, 9.0e-6, 0.14e-6);
}

TEST(LoopMeasures, FindsTheRateBeyondWhichEdgesAreLost) {
  Loop loop;
  loop.wires.capacity_per_s = 9000.0;
  const LoopMeasures found = loop.measure();
  // The step from the last good rate to the first bad one is 1.5, halved four times: 1.5^(1/16),
  // 2.6 %; and the queue of 64 takes in more than the capacity over a stage: 64 / 3600 edges, 1.8
  // %.
  EXPECT_NEAR(found.edges_per_s, 9000.0, 0.05 * 9000.0);
  EXPECT_FALSE(found.more_not_sent);
  EXPECT_EQ(found.loss, LossNotice::all_shown);
}

TEST(LoopMeasures, SaysWhetherLossWasTold) {
  Loop loop;
  loop.wires.capacity_per_s = 3000.0;
  loop.wires.tells_loss = false;
  EXPECT_EQ(loop.measure().loss, LossNotice::not_all_shown);
}

TEST(LoopMeasures, SaysWhereNothingFasterCouldBeSent) {
  Loop loop;
  loop.settings.fastest_per_s = 50e6;  // a write takes 1 us here
  loop.settings.most_in_stage = 5000;
  const LoopMeasures found = loop.measure();
  EXPECT_TRUE(found.more_not_sent);
  EXPECT_GT(found.edges_per_s, 100e3);
  EXPECT_LT(found.edges_per_s, 1e6);
  EXPECT_EQ(found.loss, LossNotice::not_provoked);
}

TEST(LoopMeasures, RefusesLinesThatLoseSlowEdges) {
  Loop loop;
  loop.wires.capacity_per_s = 100.0;
  loop.settings.spacing_ns = 20'000'000;  // alone they all come
  loop.settings.toggles = 20;
  EXPECT_THAT(loop.failure(), HasSubstr("at 500 edges/s already"));
}

TEST(LoopMeasures, RefusesALineThatLosesOneOfHundreds) {
  Loop loop;
  loop.wires.loses_edge = 700;
  EXPECT_THAT(loop.failure(), HasSubstr("hall.V was driven once and 0 edges came, where gates.UL"));
}

TEST(LoopMeasures, LeavesOutWritesThatWereInterrupted) {
  Loop loop;
  // A call takes 1 us, every fiftieth 300 us; its edges come late, which says nothing of stamps.
  loop.wires.on_write = [](std::uint64_t n) { return n % 50 == 0 ? 300'000 : 1'000; };
  const LoopMeasures found = loop.measure();
  EXPECT_GT(found.interrupted, 0);
  EXPECT_NEAR(found.lines[0].rise_s, 3e-6, 1e-13);
}

TEST(LoopMeasures, RefusesAComputerThatIsBusyWithSomethingElse) {
  Loop loop;
  // One in four, whichever these are.
  loop.wires.on_write = [](std::uint64_t n) {
    return n * 0x9E3779B97F4A7C15U >> 62 == 0 ? 300'000 : 1'000;
  };
  EXPECT_THAT(loop.failure(), HasSubstr("busy with something else"));
}

}  // namespace
}  // namespace stillrotor::test
