// Which wires the plan wants, and how each way of not having set them is named.
#include "emulator/calibration/loop_wiring.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <bit>

#include "tests/emulator/calibration/loop_wires.hpp"

namespace stillrotor::test {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr std::int64_t kick_ns = 200'000;

struct Loop {
  explicit Loop(std::vector<Joint> joints, const Bench& bench_ = loop_bench())
      : bench(bench_), wires(clock, std::move(joints)) {
    lines.arm();
  }
  std::vector<std::string> check() { return check_loop(lines, pairs); }

  Bench bench;
  std::vector<LoopPair> pairs = loop_pairs(bench);
  LookingClock clock;
  LoopWires wires;
  HeldLines lines{wires, clock, kick_ns};
};

TEST(LoopPlan, JoinsHallsBeforeSwitchesAndTheKeyLast) {
  const Bench bench = loop_bench();
  const auto pairs = loop_pairs(bench);
  ASSERT_EQ(pairs.size(), 5U);
  const auto planned = as_planned();
  for (std::size_t k = 0; k < pairs.size(); ++k) {
    EXPECT_EQ(pairs[k].output, planned[k].output) << k;
    EXPECT_EQ(pairs[k].input, planned[k].input) << k;
  }
  EXPECT_THAT(unpaired_inputs(bench, pairs), ElementsAre(io::line::gate_WL));
}

TEST(LoopPlan, OfThreeGateWiresEachIsOnItsOwn) {
  io::GpiodConfig three;
  three.gates = io::GateWires::three;
  three.dead_time_s = 1e-6;
  const auto looped = std::get<io::GpiodConfig>(loop_back(three));
  EXPECT_EQ(looped.gates, io::GateWires::six);
  EXPECT_EQ(looped.dead_time_s, 0.0);
}

TEST(LoopCheck, IsContentWithWiresAsPlanned) {
  Loop loop(as_planned());
  EXPECT_THAT(loop.check(), IsEmpty());
}

TEST(LoopCheck, DrivesOneLineAtATimeAndNoneAtTheEnd) {
  Loop loop(as_planned());
  std::uint32_t most = 0;
  loop.wires.on_write = [&](std::uint64_t) {
    most = std::max(most, static_cast<std::uint32_t>(std::popcount(loop.wires.driven)));
    loop.wires.driven = 0;
    return 0;
  };
  loop.check();
  EXPECT_EQ(most, 1U);
  loop.lines.write();
  EXPECT_EQ(loop.wires.driven, 0U);
}

TEST(LoopCheck, KicksTheExternalWatchdogAllTheTime) {
  Loop loop(as_planned());
  const std::int64_t from = loop.clock.now;
  loop.check();
  const auto periods = static_cast<std::uint64_t>((loop.clock.now - from) / kick_ns);
  EXPECT_GE(loop.wires.kicks, periods * 9 / 10);
}

TEST(LoopCheck, NamesAWireThatIsNotThere) {
  auto joints = as_planned();
  joints.erase(joints.begin() + 1);
  EXPECT_THAT(Loop(joints).check(), ElementsAre(HasSubstr("hall.V to gates.UL: nothing arrives")));
}

TEST(LoopCheck, NamesTwoThatAreSwapped) {
  auto joints = as_planned();
  std::swap(joints[0].input, joints[2].input);
  EXPECT_THAT(Loop(joints).check(),
              ElementsAre(HasSubstr("hall.U to gates.UH and hall.W to gates.VH are swapped")));
}

TEST(LoopCheck, NamesOneThatArrivesElsewhere) {
  auto joints = as_planned();
  joints[0].input = io::line::gate_WL;
  EXPECT_THAT(Loop(joints).check(),
              ElementsAre(HasSubstr("hall.U arrives at gates.WL in the place of gates.UH")));
}

TEST(LoopCheck, NamesLinesThatTouch) {
  auto joints = as_planned();
  joints.push_back({io::line::hall_U, io::line::gate_UL});
  joints.push_back({io::line::hall_V, io::line::gate_UH});
  EXPECT_THAT(Loop(joints).check(), ElementsAre(HasSubstr("gates.UH, gates.UL move together")));
}

TEST(LoopCheck, NamesOneThatArrivesInverted) {
  auto joints = as_planned();
  joints[3].inverted = true;
  EXPECT_THAT(Loop(joints).check(), ElementsAre(HasSubstr("brake to gates.VL: arrives inverted")));
}

TEST(LoopCheck, ExpectsActiveLowGatesToBeOnWhileTheWireIsLow) {
  auto joints = as_planned();
  const Bench low = loop_bench(false);
  EXPECT_EQ(Loop(joints, low).check().size(), 5U);  // straight through: all five say "on" too high
  for (Joint& joint : joints) joint.inverted = true;  // on while low: what the backend makes of it
  EXPECT_THAT(Loop(joints, low).check(), IsEmpty());
}

TEST(LoopCheck, NamesALineThatMovesByItself) {
  Loop loop(as_planned());
  loop.wires.stray = true;
  EXPECT_THAT(loop.check(), ElementsAre(AllOf(HasSubstr("gates.WL moves"),
                                              HasSubstr("while the bench drives nothing"))));
}

TEST(LoopCheck, StopsWhereSomebodyAsksTheStopOpensOrALineFails) {
  std::atomic<bool> stop{true};
  Loop asked(as_planned());
  HeldLines lines(asked.wires, asked.clock, kick_ns, &stop);
  lines.arm();
  EXPECT_THROW(check_loop(lines, asked.pairs), Interrupted);

  Loop opened(as_planned());
  opened.wires.stop_opens_after = 40;
  EXPECT_THROW(opened.check(), std::runtime_error);
  Loop broken(as_planned());
  broken.wires.fails_at_write = 40;
  EXPECT_THROW(broken.check(), std::runtime_error);
}

}  // namespace
}  // namespace stillrotor::test
