// A hundred random drives, plant against CVODE. The long label runs two thousand more.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {

TEST(PlantAgainstCvode, HundredFuzzedDrivesAgreeToAMillionthOfRatedCurrent) {
  expect_fuzzed_agreement(0, 100);
}

}  // namespace stillrotor::reference
