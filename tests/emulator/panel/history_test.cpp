// What views are made of, against the same by brute force over everything that ever came.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "emulator/panel/line_history.hpp"
#include "emulator/panel/signal_history.hpp"

namespace stillrotor {
namespace {

constexpr double rate_Hz = 100.0;  // 2048 single points are kept then, 12 s and more
constexpr auto with_spread = Signal::torque, without = Signal::speed;

/// 1 to 10^decades, each decade as often.
std::int64_t any_length(std::mt19937& random, double decades) {
  return std::llround(std::pow(10.0, std::uniform_real_distribution<double>(0.0, decades)(random)));
}

struct Points {
  std::vector<float> value, least, greatest;  // not a number: never came
};

Points random_points(SignalHistory& history, std::int64_t count, std::mt19937& random) {
  Points all;
  std::normal_distribution<float> normal;
  for (std::int64_t k = 0; k < count; ++k) {
    const float value = normal(random);
    const float below = value - std::abs(normal(random)), above = value + std::abs(normal(random));
    const bool comes = random() % 50 != 0 || k + 1 == count;
    all.value.push_back(comes ? value : Column::none);
    all.least.push_back(comes ? below : Column::none);
    all.greatest.push_back(comes ? above : Column::none);
    if (!comes) continue;
    Frame frame;
    frame.at_ps = (k + 1) * 10'000'000'000;
    frame.value[static_cast<std::size_t>(with_spread)] = value;
    frame.value[static_cast<std::size_t>(without)] = value;
    frame.least[static_cast<std::size_t>(with_spread)] = below;
    frame.greatest[static_cast<std::size_t>(with_spread)] = above;
    history.add(frame);
  }
  return all;
}

Column brute_force(const Points& all, bool spread, std::int64_t from, std::int64_t to) {
  Column column;
  from = std::max<std::int64_t>(from, 0);
  to = std::min<std::int64_t>(to, static_cast<std::int64_t>(all.value.size()));
  for (std::int64_t k = from; k < to; ++k) {
    const auto at = static_cast<std::size_t>(k);
    if (std::isnan(all.value[at])) continue;
    const float least = spread ? all.least[at] : all.value[at];
    const float greatest = spread ? all.greatest[at] : all.value[at];
    if (std::isnan(column.first)) column = {all.value[at], least, greatest, 0.0F};
    column.least = std::min(column.least, least);
    column.greatest = std::max(column.greatest, greatest);
    column.last = all.value[at];
  }
  return column;
}

void expect_same(const Column& got, const Column& wanted) {
  const auto same = [](float a, float b) { return a == b || (std::isnan(a) && std::isnan(b)); };
  EXPECT_TRUE(same(got.first, wanted.first)) << got.first << ' ' << wanted.first;
  EXPECT_TRUE(same(got.least, wanted.least)) << got.least << ' ' << wanted.least;
  EXPECT_TRUE(same(got.greatest, wanted.greatest)) << got.greatest << ' ' << wanted.greatest;
  EXPECT_TRUE(same(got.last, wanted.last)) << got.last << ' ' << wanted.last;
}

TEST(PanelHistory, ColumnsAreThoseOfBruteForceAtAnyZoom) {
  std::mt19937 random(7);
  SignalHistory history(rate_Hz);
  const std::int64_t count = 50'000;
  const Points all = random_points(history, count, random);
  ASSERT_EQ(history.points(), count);
  for (int round = 0; round < 2'000; ++round) {
    const auto length = any_length(random, 4.6);
    const auto from = static_cast<std::int64_t>(random() % (count + 200)) - 100;
    const std::int64_t to = from + length;
    SCOPED_TRACE(testing::Message() << from << " to " << to);
    // Where single points are gone, a column is of the steps of 8 that it lies in.
    const auto begin = std::max<std::int64_t>(from, 0), end = std::min(to, count);
    const bool old_begin = begin < end && !history.has_raw(begin);
    const bool old_end = begin < end && !history.has_raw(end - 1);
    const std::int64_t reach_from = old_begin ? begin / 8 * 8 : from;
    const std::int64_t reach_to = old_end ? (end + 7) / 8 * 8 : to;
    expect_same(history.over(with_spread, from, to), brute_force(all, true, reach_from, reach_to));
    expect_same(history.over(without, from, to), brute_force(all, false, reach_from, reach_to));
  }
}

TEST(PanelHistory, SinglePointsComeBackAsTheyWentInAndWhatIsGoneIsNoNumber) {
  std::mt19937 random(8);
  SignalHistory history(rate_Hz);
  const Points all = random_points(history, 5'000, random);
  for (std::int64_t k = 5'000 - 2'048; k < 5'000; ++k) {
    ASSERT_TRUE(history.has_raw(k));
    const float got = history.raw(without, k), wanted = all.value[static_cast<std::size_t>(k)];
    ASSERT_TRUE(got == wanted || (std::isnan(got) && std::isnan(wanted))) << k;
  }
  EXPECT_FALSE(history.has_raw(5'000 - 2'049));
  for (const std::int64_t k : {std::int64_t{-1}, std::int64_t{0}, std::int64_t{5'000}})
    EXPECT_TRUE(std::isnan(history.raw(without, k)));
}

// By hand: 600,000 points are 75,000 steps of 8, of which 32,768 are kept; the first point's
// stretch is then known by steps of 64 only (9,375 of them).
TEST(PanelHistory, WhatIsVeryOldIsKeptInCoarserSteps) {
  std::mt19937 random(9);
  SignalHistory history(rate_Hz);
  const Points all = random_points(history, 600'000, random);
  expect_same(history.over(without, 3, 5), brute_force(all, false, 0, 64));
  expect_same(history.over(without, 0, 600'000), brute_force(all, false, 0, 600'000));
  EXPECT_TRUE(std::isnan(history.over(without, 600'000, 600'100).first));
}

struct Change {
  std::int64_t at_ps;
  LineHistory::State to;
};

std::uint8_t brute_force(const std::vector<Change>& changes, std::int64_t from, std::int64_t to) {
  using State = LineHistory::State;
  State state = State::low;
  std::size_t k = 0;
  for (; k < changes.size() && changes[k].at_ps <= from; ++k) state = changes[k].to;
  bool low = state == State::low, high = state == State::high, doubt = state == State::unknown;
  for (; k < changes.size() && changes[k].at_ps < to; ++k) {
    state = changes[k].to;
    low |= state == State::low;
    high |= state == State::high;
    doubt |= state == State::unknown;
  }
  if (doubt) return 0;
  return static_cast<std::uint8_t>(low * line_column::was_low | high * line_column::was_high |
                                   (state == State::high) * line_column::ends_high);
}

std::vector<Change> random_changes(LineHistory& history, std::size_t count, unsigned seed) {
  std::mt19937 random(seed);
  std::vector<Change> changes;
  std::int64_t at = 0;
  for (std::size_t k = 0; k < count; ++k) {
    at += static_cast<std::int64_t>(random() % 1'000) + (random() % 500 == 0 ? 100'000 : 0);
    const auto to = random() % 400 == 0 ? LineHistory::State::unknown
                    : k % 2 == 0        ? LineHistory::State::high
                                        : LineHistory::State::low;
    changes.push_back({at, to});
    history.change(at, to);
  }
  return changes;
}

TEST(PanelHistory, LinesAreThoseOfBruteForceToThePicosecond) {
  LineHistory history(false, 800);
  const std::vector<Change> changes = random_changes(history, 20'000, 11);
  std::mt19937 random(12);
  const std::int64_t end = changes.back().at_ps + 10'000;
  for (int round = 0; round < 5'000; ++round) {
    const auto from = static_cast<std::int64_t>(random() % static_cast<std::uint64_t>(end));
    const auto length = any_length(random, 6.0);
    EXPECT_EQ(history.over(from, from + length), brute_force(changes, from, from + length))
        << from << " and " << length;
  }
  EXPECT_EQ(history.over(-5, 0), 0);
  EXPECT_EQ(history.over(7, 7), 0);
}

TEST(PanelHistory, OldLinesAreKeptInBins) {
  LineHistory history(false, 800'000);  // some 1600 edges a bin
  const std::vector<Change> changes =
      random_changes(history, LineHistory::edges_most + 100'000, 13);
  for (std::int64_t bin = 0; bin < 60; ++bin) {
    // Of the bin as a whole, whichever part is asked for.
    const std::uint8_t wanted = brute_force(changes, bin * 800'000, (bin + 1) * 800'000);
    EXPECT_EQ(history.over(bin * 800'000 + 300, bin * 800'000 + 400), wanted) << bin;
  }
}

TEST(PanelHistory, ALineThatRestsForAgesCostsNoTime) {
  LineHistory history(true, 1);
  history.change(std::int64_t{1} << 61, LineHistory::State::low);
  EXPECT_EQ(history.over(1'000, 2'000), line_column::was_high | line_column::ends_high);
}

}  // namespace
}  // namespace stillrotor
