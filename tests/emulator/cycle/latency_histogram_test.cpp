#include "emulator/cycle/latency_histogram.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <vector>

namespace stillrotor {
namespace {

TEST(LatencyHistogram, IsEmptyBeforeTheFirstValue) {
  const LatencyHistogram histogram;
  EXPECT_EQ(histogram.count(), 0U);
  EXPECT_EQ(histogram.max_ns(), 0);
  EXPECT_EQ(histogram.quantile_ns(0.5), 0);
  EXPECT_EQ(histogram.quantile_ns(1.0), 0);
}

// Of 1 to 31, the smallest value with at least half of all at or below it is 16.
TEST(LatencyHistogram, IsExactBelow32ns) {
  LatencyHistogram histogram;
  for (int ns = 1; ns < 32; ++ns) histogram.add(ns);
  EXPECT_EQ(histogram.quantile_ns(0.5), 16);
  EXPECT_EQ(histogram.quantile_ns(1.0), 31);
}

TEST(LatencyHistogram, NegativeCountsAsZeroAndTheLongestHasItsBucket) {
  LatencyHistogram histogram;
  histogram.add(-5);
  EXPECT_EQ(histogram.quantile_ns(1.0), 0);
  histogram.add(std::int64_t{1} << 40);  // 18 minutes
  EXPECT_EQ(histogram.max_ns(), std::int64_t{1} << 40);
  EXPECT_EQ(histogram.count(), 2U);
}

// Against sorting: a bucket is at most 1/32 of its values wide.
TEST(LatencyHistogram, QuantilesAreNeverTooLowAndAtMostOneBucketTooHigh) {
  std::mt19937_64 random(7);
  std::lognormal_distribution<double> spread(9.0, 1.5);
  LatencyHistogram histogram;
  std::vector<std::int64_t> all;
  for (int k = 0; k < 200'000; ++k) {
    all.push_back(static_cast<std::int64_t>(spread(random)));
    histogram.add(all.back());
  }
  std::sort(all.begin(), all.end());
  for (const double share : {0.001, 0.1, 0.5, 0.9, 0.99, 0.999, 0.9999}) {
    const auto exact =
        all[static_cast<std::size_t>(share * static_cast<double>(all.size()) + 0.5) - 1];
    EXPECT_GE(histogram.quantile_ns(share), exact) << share;
    EXPECT_LE(histogram.quantile_ns(share), exact + exact / 32 + 1) << share;
  }
  EXPECT_EQ(histogram.quantile_ns(1.0), all.back());
}

}  // namespace
}  // namespace stillrotor
