// Five hundred random drives, plant against CVODE. The long label runs ten thousand more.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

class PlantAgainstCvodeFuzzed : public ::testing::TestWithParam<int> {};

TEST_P(PlantAgainstCvodeFuzzed, AgreesToAMillionthOfRatedCurrent) {
  const int first = 100 * GetParam();
  expect_fuzzed_agreement(first, first + 100);
}

TEST_P(PlantAgainstCvodeFuzzed, AgreesInTheLongestStepsToo) {
  const int first = 100 * GetParam();
  expect_fuzzed_agreement(first, first + 100, longest_steps);
}

// A supply that blocks in the very moment in which a diode begins to carry: the search for the
// diode's end once stopped 6e-4 A away.
TEST(PlantAgainstCvodeChosen, SupplyBlocksWhileADiodeCarries) {
  expect_fuzzed_agreement(2536, 2537);
}

// A link of 3.6 us under 737 A: whole transients between two edges.
TEST(PlantAgainstCvodeChosen, QuickLinkSettlesBetweenEdges) { expect_fuzzed_agreement(6242, 6243); }

// A delta whose windings of 0.49 to 2.5 ohm are quicker than its line currents: what circulates
// once had steps longer than its time constant, and was 9e-3 off.
TEST(PlantAgainstCvodeChosen, CirculatingCurrentIsQuickerThanTheLines) {
  expect_fuzzed_agreement(1931, 1932, longest_steps);
}

// A bench supply whose voltage loop of 17 us went on while it fed nothing, in steps of 20 us.
TEST(PlantAgainstCvodeChosen, SupplyBlocksAndItsLoopGoesOn) {
  expect_fuzzed_agreement(700, 701, longest_steps);
}

// A short of 0.24 uH between terminals rings with 0.13 nF of output capacitance in 50 ns: legs that
// swung once stepped by the machine's inductance alone, to millions of amperes.
TEST(PlantAgainstCvodeChosen, LegsSwingBesideAShort) {
  expect_fuzzed_agreement(3838, 3839, longest_steps);
}

// A bus that diodes hold below zero: beside legs that carry, one without current goes on by its own
// diodes as ever. It once rested between them, 0.5 A off.
TEST(PlantAgainstCvodeChosen, ALegBeginsBesideABusBelowZero) {
  expect_fuzzed_agreement(5920, 5921);
}

// A supply at its limit answers a sudden change of current at once; a chopper once saw the bus as
// it would have jumped without, and turned on.
TEST(PlantAgainstCvodeChosen, AChopperSeesTheBusAsItsSourceHasAnswered) {
  expect_fuzzed_agreement(6367, 6368);
}

INSTANTIATE_TEST_SUITE_P(Hundred, PlantAgainstCvodeFuzzed, ::testing::Range(0, 5));

}  // namespace stillrotor::reference
