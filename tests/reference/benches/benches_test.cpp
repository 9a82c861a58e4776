// Random benches, all sensors and heat paths, plant against a second computation of both. The long
// label runs three thousand more.
#include <gtest/gtest.h>

#include "tests/reference/benches/model/agreement.hpp"

namespace stillrotor::reference {

class BenchesByLot : public ::testing::TestWithParam<int> {};

TEST_P(BenchesByLot, ShowWhatTheReferenceSays) {
  const int first = 30 * GetParam();
  expect_benches_agree(first, first + 30, finest_steps);
}

TEST_P(BenchesByLot, ShowItInUsualStepsToo) {
  const int first = 60 + 45 * GetParam();
  expect_benches_agree(first, first + 45, usual_steps);
}

INSTANTIATE_TEST_SUITE_P(Share, BenchesByLot, ::testing::Range(0, 2));

}  // namespace stillrotor::reference
