// Ten thousand random drives, plant against CVODE, in forty shares.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

class PlantAgainstCvodeAtLength : public ::testing::TestWithParam<int> {};

TEST_P(PlantAgainstCvodeAtLength, FuzzedDrivesAgreeToAMillionthOfRatedCurrent) {
  const int first = 500 + 250 * GetParam();
  expect_fuzzed_agreement(first, first + 250);
}

INSTANTIATE_TEST_SUITE_P(Share, PlantAgainstCvodeAtLength, ::testing::Range(0, 40));

}  // namespace stillrotor::reference
