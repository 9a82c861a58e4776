// Three thousand random benches, in thirty shares.
#include <gtest/gtest.h>

#include "tests/reference/benches/model/agreement.hpp"

namespace stillrotor::reference {

class BenchesAtLength : public ::testing::TestWithParam<int> {};

TEST_P(BenchesAtLength, ShowWhatTheReferenceSays) {
  const int first = 150 + 50 * GetParam();
  expect_benches_agree(first, first + 50, finest_steps);
}

TEST_P(BenchesAtLength, ShowItInUsualStepsToo) {
  const int first = 1650 + 50 * GetParam();
  expect_benches_agree(first, first + 50, usual_steps);
}

INSTANTIATE_TEST_SUITE_P(Share, BenchesAtLength, ::testing::Range(0, 30));

}  // namespace stillrotor::reference
