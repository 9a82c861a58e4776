// Two thousand random drives, plant against CVODE, in eight shares.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

class PlantAgainstCvodeAtLength : public ::testing::TestWithParam<int> {};

TEST_P(PlantAgainstCvodeAtLength, FuzzedDrivesAgreeToAMillionthOfRatedCurrent) {
  const int first = 100 + 250 * GetParam();
  expect_fuzzed_agreement(first, first + 250);
}

INSTANTIATE_TEST_SUITE_P(Share, PlantAgainstCvodeAtLength, ::testing::Range(0, 8));

}  // namespace stillrotor::reference
