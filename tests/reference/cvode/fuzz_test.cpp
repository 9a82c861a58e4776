// Five hundred random drives, plant against CVODE. The long label runs ten thousand more.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

class PlantAgainstCvodeFuzzed : public ::testing::TestWithParam<int> {};

TEST_P(PlantAgainstCvodeFuzzed, AgreesToAMillionthOfRatedCurrent) {
  const int first = 100 * GetParam();
  expect_fuzzed_agreement(first, first + 100);
}

INSTANTIATE_TEST_SUITE_P(Hundred, PlantAgainstCvodeFuzzed, ::testing::Range(0, 5));

}  // namespace stillrotor::reference
