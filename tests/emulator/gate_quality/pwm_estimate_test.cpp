// What is found in stamped PWM whose period, grid, jitter and gaps are known.
#include "emulator/gate_quality/pwm_estimate.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "tests/emulator/gate_quality/pwm_edges.hpp"

namespace stillrotor {
namespace {

double moving(std::size_t leg, double at_s) {
  const double turn = 2.0 * std::numbers::pi;
  return 0.5 + 0.35 * std::sin(turn * (200.0 * at_s - static_cast<double>(leg) / 3.0));
}
double still(std::size_t, double) { return 0.4; }

PwmEstimate estimate_of(const std::vector<io::Edge>& edges) {
  PwmEstimate estimate;
  for (const io::Edge& edge : edges) estimate.edge(edge);
  return estimate;
}
/// Distance of an instant from the nearest k T + offset.
double off_grid_s(io::Time at, double period_s, double offset_s) {
  const double k = (1e-12 * static_cast<double>(at.count()) - offset_s) / period_s;
  return (k - std::round(k)) * period_s;
}

TEST(PwmEstimate, FindsPeriodAndCentreWhileTheDutyMoves) {
  const PwmEstimate estimate = estimate_of(test::edges_of({.period_s = 62.5e-6}, 400, moving));
  for (std::size_t leg = 0; leg < 3; ++leg) {
    const LegPwm pwm = estimate.leg(leg);
    ASSERT_TRUE(pwm.known);
    EXPECT_EQ(pwm.alignment, PwmAlignment::centre);
    EXPECT_NEAR(pwm.period_s, 62.5e-6, 1e-12);
    // The rise is a dead time late, so the pulse's centre half of one.
    EXPECT_NEAR(off_grid_s(pwm.grid, 62.5e-6, 31.25e-6 + 0.5e-6), 0.0, 2e-12);
    EXPECT_LT(pwm.jitter_s, 2e-12);  // whole picoseconds
    EXPECT_EQ(pwm.missing, 0u);
  }
}

// Tolerance: 62 degrees of freedom a block leave 9 % (one sigma) of a standard deviation; three
// legs and three sigma.
TEST(PwmEstimate, MeasuresTheJitterOfAnEdge) {
  for (const double jitter_s : {20e-9, 100e-9, 1e-6}) {
    const PwmEstimate estimate =
        estimate_of(test::edges_of({.jitter_s = jitter_s, .seed = 3}, 2000, moving));
    for (std::size_t leg = 0; leg < 3; ++leg) {
      EXPECT_NEAR(estimate.leg(leg).jitter_s / jitter_s, 1.0, 0.27) << jitter_s;
      EXPECT_NEAR(estimate.leg(leg).period_s, 50e-6, jitter_s / 50.0);
      EXPECT_EQ(estimate.leg(leg).missing, 0u);
    }
    EXPECT_GE(estimate.jitter_s(), estimate.leg(0).jitter_s);
  }
}

std::vector<io::Edge> edge_aligned(PwmAlignment alignment) {
  std::vector<io::Edge> edges;
  for (int k = 0; k < 400; ++k) {
    const double width_s = 25e-6 + 15e-6 * std::sin(0.1 * k);
    const double start_s = alignment == PwmAlignment::rise ? 50e-6 * k : 50e-6 * (k + 1) - width_s;
    edges.push_back({test::at(start_s), test::gate(0), io::Level::high});
    edges.push_back({test::at(start_s + width_s), test::gate(0), io::Level::low});
  }
  return edges;
}

TEST(PwmEstimate, TellsEdgeAlignedPwmFromCentreAligned) {
  for (const PwmAlignment alignment : {PwmAlignment::rise, PwmAlignment::fall}) {
    const LegPwm pwm = estimate_of(edge_aligned(alignment)).leg(0);
    EXPECT_EQ(pwm.alignment, alignment);
    EXPECT_NEAR(pwm.period_s, 50e-6, 1e-12);
    EXPECT_LT(pwm.jitter_s, 2e-12);
  }
}

/// Without the pulses of the high switch of U in periods from..to.
std::vector<io::Edge> without(std::vector<io::Edge> edges, int from, int to) {
  std::erase_if(edges, [&](const io::Edge& edge) {
    const double period = 1e-12 * static_cast<double>(edge.at.count()) / 50e-6;
    return edge.line == io::line::gate_UH && period >= from && period < to + 1;
  });
  return edges;
}
/// Of the high switch's line alone: the low one's pulses would still be there.
LegPwm high_U(const std::vector<io::Edge>& edges) {
  LinePwm line;
  for (const io::Edge& edge : edges)
    if (edge.line == io::line::gate_UH) line.edge(edge.at.count(), edge.level == io::Level::high);
  return line.estimate();
}

TEST(PwmEstimate, CountsPeriodsWithoutAPulse) {
  const auto edges = test::edges_of({.jitter_s = 50e-9}, 400, still);
  EXPECT_EQ(high_U(edges).missing, 0u);
  EXPECT_EQ(high_U(without(edges, 150, 150)).missing, 1u);
  EXPECT_EQ(high_U(without(without(edges, 150, 152), 300, 300)).missing, 4u);
}

TEST(PwmEstimate, DutyThatReachesZeroIsNoLoss) {
  const auto duty = [](std::size_t, double at_s) {
    return std::max(0.0, 0.25 + 0.27 * std::sin(2.0 * std::numbers::pi * 300.0 * at_s));
  };
  auto edges = test::edges_of({}, 1000, duty);
  // A controller leaves out pulses that the dead time would swallow.
  std::vector<io::Edge> left;
  for (const io::Edge& edge : edges)
    if (edge.line == io::line::gate_UH && edge.at.count() > 0) {
      const double middle_s =
          (std::floor(1e-12 * static_cast<double>(edge.at.count()) / 50e-6) + 0.5) * 50e-6;
      if (duty(0, middle_s) > 0.03) left.push_back(edge);
    }
  const LegPwm pwm = high_U(left);
  EXPECT_EQ(pwm.missing, 0u);
  EXPECT_GT(pwm.resting, 10u);
}

// Pulses of 100 % run into one another: one long one, whose middle may lie between two periods'.
TEST(PwmEstimate, DutyThatReachesOneLeavesTheGridAsItIs) {
  std::vector<io::Edge> edges;
  for (int k = 0; k < 400; ++k) {
    const int lasts = k % 20 == 7 ? 2 : 1;  // periods; two of them whole
    if (k % 20 == 8) continue;
    const double middle_s = 50e-6 * (k + 0.5 * lasts);
    const double half_s = lasts == 2 ? 49e-6 : 18e-6;
    edges.push_back({test::at(middle_s - half_s), io::line::gate_UH, io::Level::high});
    edges.push_back({test::at(middle_s + half_s), io::line::gate_UH, io::Level::low});
  }
  const LegPwm pwm = high_U(edges);
  ASSERT_TRUE(pwm.known);
  EXPECT_LT(pwm.jitter_s, 2e-12);
  EXPECT_NEAR(pwm.period_s, 50e-6, 1e-12);
}

/// Six-step at a duty of 40 %: the high switch pulses for a third of the electrical turn, the low
/// one stands on for another. Complementary: the low one pulses beside the high one, too.
std::vector<io::Edge> six_step(double electrical_Hz, double period_s, bool complementary) {
  std::vector<io::Edge> edges;
  std::array<bool, 3> low_on{};
  const auto low = [&](double s, std::size_t leg, bool on) {
    if (low_on[leg] != on)
      edges.push_back(
          {test::at(s), test::gate(2 * leg + 1), on ? io::Level::high : io::Level::low});
    low_on[leg] = on;
  };
  for (int k = 0; k < 8000; ++k)
    for (std::size_t leg = 0; leg < 3; ++leg) {
      const double start_s = k * period_s;
      const double turns = electrical_Hz * start_s - static_cast<double>(leg) / 3.0 + 1.0;
      const double turn = turns - std::floor(turns);
      const bool pulsed = turn < 1.0 / 3.0;
      low(start_s, leg, pulsed ? complementary : turn >= 0.5 && turn < 5.0 / 6.0);
      if (!pulsed) continue;
      const double rise_s = start_s + 0.3 * period_s, fall_s = start_s + 0.7 * period_s;
      low(rise_s - 1e-6, leg, false);
      edges.push_back({test::at(rise_s), test::gate(2 * leg), io::Level::high});
      edges.push_back({test::at(fall_s), test::gate(2 * leg), io::Level::low});
      low(fall_s + 1e-6, leg, complementary);
    }
  test::by_time(edges);
  return edges;
}

// Rests of 240 degrees: at 16 kHz and 400, 1000, 2000 Hz they last 26, 10 and 5 periods. Half a
// second: 50 turns at 100 Hz. Tolerance: of the low pulses of a third of a turn one is cut short by
// the commutation, so that its centre lies elsewhere; 1 %.
TEST(PwmEstimate, SixStepCommutationIsNoLossHoweverFast) {
  for (const bool complementary : {false, true})
    for (const double electrical_Hz : {100.0, 400.0, 700.0, 1000.0, 2000.0}) {
      if (complementary && electrical_Hz > 1000.0) continue;  // most of its low pulses are cut
      const PwmEstimate estimate = estimate_of(six_step(electrical_Hz, 62.5e-6, complementary));
      for (std::size_t leg = 0; leg < 3; ++leg) {
        const LegPwm pwm = estimate.leg(leg);
        EXPECT_TRUE(pwm.known) << electrical_Hz;
        EXPECT_NEAR(pwm.period_s, 62.5e-6, (complementary ? 625e-9 : 1e-12)) << electrical_Hz;
        EXPECT_EQ(pwm.missing, 0u) << electrical_Hz << " Hz, complementary " << complementary;
        EXPECT_GT(pwm.resting + pwm.pauses, 45u) << electrical_Hz;
      }
    }
}

// 700 Hz: seven or eight pulses a third of a turn. Every 50th turn loses one in the midst of them.
TEST(PwmEstimate, APulseLostBetweenTwoCommutationsIsStillMissing) {
  auto edges = six_step(700.0, 62.5e-6, false);
  const auto lost = [](const io::Edge& edge) {
    const double turns = 700.0 * 1e-12 * static_cast<double>(edge.at.count());
    const auto turn = static_cast<int>(turns);
    const double from = turn / 700.0 / 62.5e-6;  // periods
    const double period = 1e-12 * static_cast<double>(edge.at.count()) / 62.5e-6;
    return edge.line == io::line::gate_UH && turn % 50 == 25 &&
           static_cast<int>(period) == static_cast<int>(from) + 4;
  };
  const auto left = std::erase_if(edges, lost);
  ASSERT_EQ(left, 2u * 7u);
  EXPECT_EQ(estimate_of(edges).leg(0).missing, 7u);
}

TEST(PwmEstimate, ALostPulseWhileTheOtherLegsPulseIsMissing) {
  auto edges = test::edges_of({.jitter_s = 50e-9}, 400, still);
  std::erase_if(edges, [](const io::Edge& edge) { return io::index(edge.line) % 2 != 0; });
  EXPECT_EQ(estimate_of(edges).leg(0).missing, 0u);
  EXPECT_EQ(estimate_of(without(without(edges, 150, 155), 300, 300)).leg(0).missing, 7u);
}

TEST(PwmEstimate, LongPauseIsNoLossAndTheGridIsFoundAgain) {
  auto edges = test::edges_of({}, 400, still);
  auto later = test::edges_of({}, 400, still);
  for (io::Edge& edge : later) edge.at += test::at(0.1 + 13e-6);
  edges.insert(edges.end(), later.begin() + 3, later.end());
  const LegPwm pwm = high_U(edges);
  EXPECT_EQ(pwm.missing, 0u);
  EXPECT_EQ(pwm.pauses, 1u);
  EXPECT_LT(pwm.jitter_s, 2e-12);
  EXPECT_NEAR(off_grid_s(pwm.grid, 50e-6, 0.1 + 13e-6 + 25.5e-6), 0.0, 2e-12);
}

TEST(PwmEstimate, AnotherFrequencyIsLearntAnew) {
  auto edges = test::edges_of({}, 300, still);
  auto later = test::edges_of({.period_s = 83e-6}, 300, still);
  for (io::Edge& edge : later) edge.at += test::at(300 * 50e-6);
  edges.insert(edges.end(), later.begin() + 3, later.end());
  EXPECT_NEAR(high_U(edges).period_s, 83e-6, 1e-12);
}

TEST(PwmEstimate, KnowsNothingOfWhatIsNoPwm) {
  EXPECT_FALSE(estimate_of({}).leg(0).known);
  std::mt19937_64 random(5);
  std::uniform_real_distribution<double> wait_s(5e-6, 300e-6);
  std::vector<io::Edge> edges;
  double at_s = 0.0;
  for (int k = 0; k < 2000; ++k) {
    at_s += wait_s(random);
    edges.push_back({test::at(at_s), test::gate(0), k % 2 == 0 ? io::Level::high : io::Level::low});
  }
  EXPECT_FALSE(estimate_of(edges).leg(0).known);
}

}  // namespace
}  // namespace stillrotor
