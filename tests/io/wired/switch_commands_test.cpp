// Six switch commands from three wires. Expected: the rule at the head of switch_commands.hpp, by
// hand; times in microseconds.
#include "io/switch_commands.hpp"

#include <gtest/gtest.h>

#include <string>

namespace stillrotor::io {
namespace {

Time us(std::int64_t t) { return Time{t * 1'000'000}; }

/// "UH- @10, UL+ @11"
std::string told(const EdgeBatch& batch) {
  std::string text;
  for (std::size_t k = 0; k < batch.edge_count; ++k) {
    const Edge& edge = batch.edges[k];
    text += (text.empty() ? "" : ", ") + std::string(name(edge.line).substr(6)) +
            (edge.level == Level::high ? "+ @" : "- @") +
            std::to_string(edge.at.count() / 1'000'000);
  }
  return text;
}

class ThreeWires : public testing::Test {
 protected:
  std::string change(SwitchCommands& commands, int at_us, LineId wire, bool high) {
    auto batch = std::make_unique<EdgeBatch>();
    commands.change(us(at_us), wire, high, *batch);
    return told(*batch);
  }
  std::string pass(SwitchCommands& commands, int now_us) {
    auto batch = std::make_unique<EdgeBatch>();
    commands.pass(us(now_us), *batch);
    return told(*batch);
  }
  SwitchCommands complement{GateWires::three, us(2)};
  SwitchCommands enabled{GateWires::three_and_enable, us(2)};
};

TEST_F(ThreeWires, SixWiresPassAsTheyAre) {
  SwitchCommands six;
  EXPECT_EQ(change(six, 5, line::gate_VL, true), "VL+ @5");
  EXPECT_EQ(change(six, 5, line::gate_VH, true), "VH+ @5");  // both on: not for us to hide
}

TEST_F(ThreeWires, TheComplementComesOnOneDeadTimeAfterTheOtherWentOff) {
  EXPECT_EQ(change(complement, 0, line::gate_UH, false), "");
  EXPECT_EQ(pass(complement, 1), "");
  EXPECT_EQ(pass(complement, 2), "UL+ @2");
  EXPECT_EQ(change(complement, 10, line::gate_UH, true), "UL- @10");
  EXPECT_EQ(pass(complement, 20), "UH+ @12");
  EXPECT_EQ(change(complement, 30, line::gate_UH, false), "UH- @30");
  EXPECT_EQ(pass(complement, 40), "UL+ @32");
}

TEST_F(ThreeWires, ADelayedCommandThatNobodyFetchedComesWithTheNextChange) {
  change(complement, 0, line::gate_WH, false);
  EXPECT_EQ(change(complement, 10, line::gate_WH, true), "WL+ @2, WL- @10");
}

TEST_F(ThreeWires, APulseShorterThanTheDeadTimeTurnsNothingOn) {
  change(complement, 0, line::gate_UH, false);
  pass(complement, 5);
  EXPECT_EQ(change(complement, 10, line::gate_UH, true), "UL- @10");
  EXPECT_EQ(change(complement, 11, line::gate_UH, false), "");
  EXPECT_EQ(pass(complement, 12), "");
  EXPECT_EQ(pass(complement, 13), "UL+ @13");
}

TEST_F(ThreeWires, WithoutADeadTimeTheLegChangesOverAtOneInstant) {
  SwitchCommands ideal{GateWires::three};
  EXPECT_EQ(change(ideal, 0, line::gate_UH, false), "UL+ @0");
  EXPECT_EQ(change(ideal, 7, line::gate_UH, true), "UL- @7, UH+ @7");
}

TEST_F(ThreeWires, TheEnableKeepsBothOff) {
  EXPECT_EQ(change(enabled, 0, line::gate_VH, true), "");
  EXPECT_EQ(pass(enabled, 50), "") << "the enable is not known yet";
  EXPECT_EQ(change(enabled, 60, line::gate_VL, false), "");
  EXPECT_EQ(pass(enabled, 70), "");
  EXPECT_EQ(change(enabled, 80, line::gate_VL, true), "");
  EXPECT_EQ(pass(enabled, 90), "VH+ @82");
  EXPECT_EQ(change(enabled, 95, line::gate_VL, false), "VH- @95");
  EXPECT_EQ(change(enabled, 96, line::gate_VH, false), "");
  EXPECT_EQ(pass(enabled, 200), "");
}

TEST_F(ThreeWires, TheSameLevelAgainChangesNothing) {
  change(complement, 0, line::gate_UH, false);
  EXPECT_EQ(change(complement, 1, line::gate_UH, false), "");
  EXPECT_EQ(pass(complement, 2), "UL+ @2") << "the dead time does not start again";
  EXPECT_EQ(change(complement, 3, line::gate_UH, false), "");
}

TEST_F(ThreeWires, OtherLinesPass) {
  auto batch = std::make_unique<EdgeBatch>();
  complement.change(us(3), line::driver_enable, true, *batch);
  ASSERT_EQ(batch->edge_count, 1u);
  EXPECT_EQ(batch->edges[0].line, line::driver_enable);
}

}  // namespace
}  // namespace stillrotor::io
