// From a record to the columns of a drawing: no peak and no pulse is lost.
#include "emulator/report/envelope.hpp"

#include <gtest/gtest.h>

#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;

// One grid point of 2000 stands out; in 10 columns it is in the one that holds its moment.
TEST(Envelope, KeepsASinglePointInItsColumn) {
  SyntheticRecord record(0.1);
  record.signal(
      Signal::speed, [](double t) { return std::abs(t - 0.03105) < 1e-6 ? 50.0 : t; }, 1);
  const Envelope found = envelope(record.read(), Signal::speed, {0.0, 0.1}, 10);
  ASSERT_EQ(found.least.size(), 10U);
  for (std::size_t k = 0; k < 10; ++k) {
    EXPECT_EQ(found.greatest[k] == 50.0F, k == 3) << k;
    EXPECT_NEAR(found.least[k], 0.01 * static_cast<double>(k), 1.1e-4) << k;
  }
}

// The same in a window so long that the record's overview serves: 4000 points a column, 64 a bin.
TEST(Envelope, KeepsASinglePointOfALongWindowToo) {
  SyntheticRecord record(2.0);
  record.signal(
      Signal::speed, [](double t) { return std::abs(t - 1.3105) < 1e-6 ? 50.0 : t; }, 1);
  const Envelope found = envelope(record.read(), Signal::speed, {0.0, 2.0}, 10);
  for (std::size_t k = 0; k < 10; ++k) {
    EXPECT_EQ(found.greatest[k] == 50.0F, k == 6) << k;
    // A bin of 3.2 ms that reaches into a column counts for it.
    EXPECT_NEAR(found.least[k], 0.2 * static_cast<double>(k), 3.3e-3) << k;
  }
}

// A current that swings between grid points: the record's own least and greatest of each bin count.
TEST(Envelope, TakesWhatLiesBetweenGridPoints) {
  SyntheticRecord record(0.05);
  record.signal(
      Signal::current_U, [](double t) { return 3.0 * std::sin(2.0 * pi * 20e3 * t); }, 40);
  const Envelope found = envelope(record.read(), Signal::current_U, {0.01, 0.04}, 30);
  for (std::size_t k = 0; k < 30; ++k) {
    EXPECT_NEAR(found.greatest[k], 3.0, 0.02);
    EXPECT_NEAR(found.least[k], -3.0, 0.02);
  }
}

TEST(Envelope, LeavesColumnsEmptyWhereThereIsNothing) {
  SyntheticRecord record(0.01);
  record.constant(Signal::speed, 7.0);
  const Envelope wide = envelope(record.read(), Signal::speed, {0.0, 0.02}, 4);
  EXPECT_EQ(wide.greatest[1], 7.0F);
  EXPECT_GT(wide.least[3], wide.greatest[3]);
  const Envelope fine = envelope(record.read(), Signal::speed, {0.0, 1e-4}, 10);  // two points
  int filled = 0;
  for (std::size_t k = 0; k < 10; ++k) filled += fine.least[k] <= fine.greatest[k] ? 1 : 0;
  EXPECT_EQ(filled, 2);
}

TEST(LineColumns, TellSteadyLevelsFromSwitching) {
  SyntheticRecord record(0.01);
  record.constant(Signal::speed, 0.0).initially_high(8);
  record.edge(8, 2 * ms, false).pulse(8, 5200 * us, 5300 * us).edge(8, 8 * ms, true);
  const auto columns = line_columns(record.read(), 8, {0.0, 0.01}, 10);
  const auto low = LineColumn::low, high = LineColumn::high, both = LineColumn::both;
  EXPECT_EQ(columns, (std::vector{high, high, both, low, low, both, low, low, both, high}));
  // A window that begins later knows how the line stands by then.
  EXPECT_EQ(line_columns(record.read(), 8, {0.0085, 0.0095}, 1), std::vector{high});
  EXPECT_EQ(line_columns(record.read(), 8, {0.003, 0.005}, 2), (std::vector{low, low}));
}

TEST(Points, AreThoseOfTheSpan) {
  SyntheticRecord record(0.01);
  record.signal(
      Signal::speed, [](double t) { return t; }, 1);
  const Points found = points(record.read(), Signal::speed, {0.001, 0.002});
  ASSERT_EQ(found.value.size(), 21U);
  EXPECT_NEAR(found.at_s.front(), 0.001, 1e-12);
  EXPECT_NEAR(found.at_s.back(), 0.002, 1e-12);
  EXPECT_NEAR(found.value.back(), 0.002, 1e-9);
}

}  // namespace
}  // namespace stillrotor
