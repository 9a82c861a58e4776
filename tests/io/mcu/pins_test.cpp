// Ports against the datasheet (ATmega48A/PA/88A/PA/168A/PA/328/P: I/O-Ports).
#include <gmock/gmock.h>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using Step = Chip::Step;
using ::testing::ElementsAre;

class PinsTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// By hand, from the instruction timing of the AVR manual (OUT 1 cycle; SBI, CBI, STS, RJMP 2): see
// the comments in port_loop.S. A port changes with the end of its instruction.
TEST_F(PinsTest, PortWritesActExactlyAtTheEndOfTheirInstruction) {
  Chip chip("port_loop");
  chip.power(5.0);
  chip.run_cycles(3 + 13 * 1000);
  const auto steps = chip.steps(line::gate_UL);
  ASSERT_GT(steps.size(), 6000u);
  EXPECT_EQ(steps[0], (Step{3, false}));
  for (std::size_t turn = 0; turn < 1000; ++turn) {
    const auto start = static_cast<std::int64_t>(3 + 13 * turn);
    const std::vector<Step> expected = {{start + 2, true},  {start + 5, false},
                                        {start + 6, true},  {start + 8, false},
                                        {start + 10, true}, {start + 11, false}};
    for (std::size_t k = 0; k < expected.size(); ++k)
      ASSERT_EQ(steps[1 + 6 * turn + k], expected[k]) << "turn " << turn << ", step " << k;
  }
}

// The same pin with a sensor's clock in the gate's place.
TEST_F(PinsTest, DriveAnAngleSensorsClockAsTheyDriveGates) {
  McuConfig wiring = usual_wiring("port_loop");
  wiring.line_pins[index(line::gate_UL)] = "PD7";
  wiring.line_pins[index(line::angle_clock)] = "PD2";
  wiring.line_pins[index(line::angle_data)] = "PB1";
  Chip chip(wiring);
  chip.power(5.0);
  chip.run_cycles(3 + 13 * 10);
  const auto steps = chip.steps(line::angle_clock);
  ASSERT_GT(steps.size(), 50u);
  EXPECT_EQ(steps[0], (Step{3, false}));
  EXPECT_EQ(steps[1], (Step{5, true}));
  EXPECT_TRUE(chip.steps(line::angle_data).empty());
}

TEST_F(PinsTest, GatesAreReleasedUntilTheFirmwareMakesThemOutputs) {
  Chip chip("port_loop");
  chip.power(5.0);
  for (const auto gate : {line::gate_UH, line::gate_UL, line::gate_WL})
    EXPECT_EQ(chip.last(gate), Level::released);
  chip.run_cycles(100);
  EXPECT_NE(chip.last(line::gate_UL), Level::released);
  EXPECT_EQ(chip.last(line::gate_UH), Level::released) << "PD6 was never made an output";
}

// Datasheet, Reading the Pin Value: a nop must stand between out and in.
TEST_F(PinsTest, AnOutputIsReadBackOnlyAfterOneMoreCycle) {
  Chip chip("read_back");
  chip.power(5.0);
  chip.run_cycles(100);
  EXPECT_EQ(chip.last(line::gate_VL), Level::low) << "in straight after out saw the new level";
  EXPECT_EQ(chip.last(line::gate_VH), Level::high) << "in after out and nop saw the old level";
}

TEST_F(PinsTest, AReleasedWireReadsLowWithoutAndHighWithTheInternalPullUp) {
  for (const auto& [firmware, expected] :
       {std::pair{"mirror", Level::low}, std::pair{"mirror_pulled", Level::high}}) {
    Chip chip(firmware);
    chip.wires[index(line::hall_U)] = Level::released;
    chip.power(5.0);
    chip.run_cycles(200);
    EXPECT_EQ(chip.last(line::gate_UL), expected) << firmware;
    chip.wire(line::hall_U, Level::low);  // a driven wire wins over the pull-up
    chip.run_cycles(400);
    EXPECT_EQ(chip.last(line::gate_UL), Level::low) << firmware;
    chip.wire(line::hall_U, Level::high);
    chip.run_cycles(600);
    EXPECT_EQ(chip.last(line::gate_UL), Level::high) << firmware;
  }
}

TEST_F(PinsTest, AskInputsForTheirLevelAtPowerUp) {
  Chip chip("mirror");
  chip.wires[index(line::hall_U)] = Level::high;
  chip.power(5.0);
  chip.run_cycles(200);
  EXPECT_EQ(chip.last(line::gate_UL), Level::high);
}

TEST_F(PinsTest, BrownOutReleasesTheGatesAndTheFirmwareStartsAnewWithPower) {
  Chip chip("port_loop");
  chip.power(5.0);
  chip.run_cycles(1000);
  chip.power(2.0);
  EXPECT_EQ(chip.last(line::gate_UL), Level::released);
  const std::size_t edges = chip.edges.size();
  chip.run_cycles(5000);
  EXPECT_EQ(chip.edges.size(), edges) << "it ran without supply";
  EXPECT_EQ(chip.now, at_cycle(5000));
  chip.power(5.0);
  chip.run_cycles(5020);
  ASSERT_GT(chip.edges.size(), edges + 1);
  EXPECT_EQ(chip.edges[edges].at, at_cycle(5003)) << "not from its first instruction";
}

}  // namespace
}  // namespace stillrotor::io::test
