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

// Gate drivers that trip, flux maps, batteries that run down, rotors that stick: the reference has
// none of it, but who looks when may change nothing there either.
TEST_P(BenchesByLot, ShowEveryCallerTheSame) {
  const int first = 150 * GetParam();
  expect_manners_agree(first, first + 150, usual_steps);
}

// Magnets that fall below their knee in the step in which a diode's current ends: the current that
// they moved once came back and back, until the plant forced a step.
TEST(BenchesChosen, MagnetsFallWhileADiodesCurrentEnds) {
  for (const int bench : {164, 1445, 1877, 2034, 2452})
    expect_manners_agree(bench, bench + 1, {0.5e-6, 1e-6, 1e-3});
}

INSTANTIATE_TEST_SUITE_P(Share, BenchesByLot, ::testing::Range(0, 2));

}  // namespace stillrotor::reference
