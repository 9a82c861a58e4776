// The port to no chip, with a field-oriented controller at its lines that sees the chip and nothing
// else: does the loop close, and does its time depend on who wakes it?
#include "io/link/port/simulated_chip.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "tests/io/link/port/driven_chip.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t ms = DrivenChip::ms;

double length_A(const LinkReport& r) {
  return std::hypot(r.end_A[0], (r.end_A[0] + 2.0 * r.end_A[1]) / std::sqrt(3.0));
}

/// The vector's mean length while the throttle stands at 2 V.
double driven_A(DrivenChip& at) {
  at.go_live();
  at.reports.clear();
  at.throttle(2.0);
  at.run(500 * ms);
  double sum = 0.0;
  for (std::size_t k = 200; k < at.reports.size(); ++k) sum += length_A(at.reports[k]);
  return sum / static_cast<double>(at.reports.size() - 200);
}

// By hand: the throttle asks for (2.0 - 0.9) / (4.0 - 0.9) of 60 A: 21.3 A. Tolerance: ripple of 72
// V at 8 kHz (up to 5 A between two edges) and the sample's delay. Twelve edges a period of 8 kHz.
TEST(SimulatedChip, ClosesTheCurrentLoopOfAControllerThatSeesNothingElse) {
  DrivenChip at;
  EXPECT_NEAR(driven_A(at), 21.3, 2.0);
  EXPECT_TRUE(at.session.status().live);
  EXPECT_EQ(at.reports.back().flags, 0U);
  EXPECT_EQ(at.reports.back().tripped, 0U);
  EXPECT_TRUE(at.gaps.empty());
  EXPECT_GT(at.edges.size(), 12U * 8000U / 2U);
}

TEST(SimulatedChip, AndThatLoopFailsWithTwoOfTheChipsCurrentsExchanged) {
  ChipSettings settings = DrivenChip::chip_settings();
  std::swap(settings.channels[0].at, settings.channels[1].at);
  DrivenChip at(settings);
  EXPECT_GT(std::fabs(driven_A(at) - 21.3), 10.0);
}

TEST(SimulatedChip, LetsLinesGoOnSilence) {
  DrivenChip at;
  at.go_live();
  ASSERT_TRUE(at.chip.driven());
  at.bench_runs = false;
  at.run(19 * ms);
  EXPECT_TRUE(at.chip.driven());
  at.run(5 * ms);
  EXPECT_FALSE(at.chip.driven());
  EXPECT_FALSE(at.session.status().live);
  at.bench_runs = true;
  at.run(50 * ms);
  EXPECT_FALSE(at.chip.driven());
  at.session.want_live();
  at.run(50 * ms);
  EXPECT_TRUE(at.chip.driven());
}

TEST(SimulatedChip, SwitchesItsControllersSupplyWithTheKey) {
  DrivenChip at;
  at.go_live();
  at.throttle(2.0);
  at.run(100 * ms);
  EXPECT_GT(at.session.status().edges, 12U * 8000U / 20U);
  at.told.lines = 0;
  at.run(10 * ms);
  const auto edges = at.session.status().edges;
  at.run(100 * ms);
  EXPECT_EQ(at.session.status().edges, edges);
}

TEST(SimulatedChip, ForgetsEverythingInAReset) {
  DrivenChip at;
  at.go_live();
  at.chip.reset(2);
  EXPECT_FALSE(at.chip.driven());
  EXPECT_FALSE(at.chip.runs());
  at.run(500 * ms);
  EXPECT_EQ(at.session.status().resets, 1U);
  EXPECT_TRUE(at.session.status().running);
  EXPECT_FALSE(at.gaps.empty());
}

/// All that a chip sends that is woken at these moments only.
std::vector<std::uint8_t> sent_by(std::span<const std::int64_t> wakes_us) {
  DrivenChip at;
  at.go_live();
  at.throttle(2.0);
  at.run(20 * ms);
  const Time from = at.chip.now();
  std::vector<std::uint8_t> all;
  for (const std::int64_t us : wakes_us) {
    at.chip.advance(from + Time(us * 1'000'000));
    const auto sent = at.chip.take_sent();
    all.insert(all.end(), sent.begin(), sent.end());
  }
  return all;
}

// 15 ms, within the silence that is permitted: nothing comes in meanwhile.
TEST(SimulatedChipTime, DoesNotDependOnWhoWakesItWhen) {
  std::vector<std::int64_t> often, seldom{4'321, 15'000};
  std::mt19937 random(7);
  for (std::int64_t us = 0; us < 15'000; us += 1 + random() % 400) often.push_back(us);
  often.push_back(15'000);
  const auto a = sent_by(often), b = sent_by(seldom);
  EXPECT_GT(a.size(), 15U * 96U);  // a report a millisecond at least
  EXPECT_EQ(a, b);
}

TEST(SimulatedChip, RefusesMoreChannelsThanTheCoreHas) {
  auto controller = make_field_oriented(DrivenChip::controller_settings());
  ChipSettings settings;
  settings.channels.resize(CP_CHANNELS + 1);
  EXPECT_THROW(SimulatedChip(*controller, settings), std::invalid_argument);
}

}  // namespace
}  // namespace stillrotor::io
