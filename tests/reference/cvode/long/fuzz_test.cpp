// Ten thousand random drives, plant against CVODE, in forty shares.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

class PlantAgainstCvodeAtLength : public ::testing::TestWithParam<int> {};

TEST_P(PlantAgainstCvodeAtLength, FuzzedDrivesAgreeToAMillionthOfRatedCurrent) {
  const int first = 500 + 250 * GetParam();
  expect_fuzzed_agreement(first, first + 250);
}

TEST_P(PlantAgainstCvodeAtLength, FuzzedDrivesAgreeInTheLongestStepsToo) {
  const int first = 500 + 250 * GetParam();
  FuzzedSteps steps = longest_steps;
  // What a leg costs that is passed by.
  steps.current_share = 2e-4;
  steps.link_share = 5e-4;
  expect_fuzzed_agreement(first, first + 250, steps);
}

INSTANTIATE_TEST_SUITE_P(Share, PlantAgainstCvodeAtLength, ::testing::Range(0, 40));

}  // namespace stillrotor::reference
