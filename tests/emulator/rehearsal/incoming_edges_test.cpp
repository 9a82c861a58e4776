// What a route lets the bench know of edges: stamps, samples, losses.
#include "emulator/rehearsal/incoming_edges.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <vector>

namespace stillrotor::test {
namespace {

constexpr std::int64_t us = 1'000'000, ms = 1000 * us;
constexpr io::LineId gate = io::line::gate_UH;

RehearsedRoute plain() {
  RehearsedRoute route;
  route.lines.edges_in_per_s = 1e9;
  route.lines.finds_loss = true;
  return route;
}

io::Edge edge(std::int64_t at_ps, bool high, io::LineId line = gate) {
  return {io::Time(at_ps), line, high ? io::Level::high : io::Level::low};
}

std::unique_ptr<io::EdgeBatch> come(IncomingEdges& edges, std::int64_t now_ps) {
  auto batch = std::make_unique<io::EdgeBatch>();
  edges.hand_over(now_ps, *batch);
  return batch;
}

TEST(IncomingEdges, ComeAsTheyAreWhereNothingIsImposed) {
  IncomingEdges in(plain(), 1);
  in.happens(edge(10 * us, true));
  in.happens(edge(30 * us, false));
  EXPECT_EQ(come(in, 9 * us)->edge_count, 0U);
  const auto first = come(in, 20 * us);
  ASSERT_EQ(first->edge_count, 1U);
  EXPECT_EQ(first->edges[0].at.count(), 10 * us);
  EXPECT_EQ(first->edges[0].level, io::Level::high);
  EXPECT_EQ(come(in, 30 * us)->edge_count, 1U);
  EXPECT_EQ(in.counts().edges, 2U);
  EXPECT_EQ(in.gone(), 0U);
}

std::vector<std::int64_t> stamps(const RehearsedRoute& route, std::uint64_t seed) {
  IncomingEdges in(route, seed);
  std::vector<std::int64_t> late;
  for (int k = 1; k <= 4000; ++k) {
    in.happens(edge(k * 100 * us, k % 2 != 0));
    const auto batch = come(in, k * 100 * us + 50 * us);
    for (std::size_t e = 0; e < batch->edge_count; ++e)
      late.push_back(batch->edges[e].at.count() - k * 100 * us);
  }
  return late;
}

// Tolerance: of 4000 values, four deviations: rms 4 / sqrt(8000) = 4.5 %, mean 4 / sqrt(4000).
TEST(IncomingEdges, StampsJitterByTheRoutesRmsAboutTheEdgeTheSameForOneSeed) {
  RehearsedRoute route = plain();
  route.lines.stamp_jitter_s = 2e-6;
  const auto late = stamps(route, 3);
  ASSERT_EQ(late.size(), 4000U);
  double sum = 0.0, squares = 0.0;
  for (const std::int64_t l : late) {
    sum += static_cast<double>(l) * 1e-12;
    squares += std::pow(static_cast<double>(l) * 1e-12, 2);
  }
  EXPECT_NEAR(std::sqrt(squares / 4000.0), 2e-6, 0.045 * 2e-6);
  EXPECT_NEAR(sum / 4000.0, 0.0, 0.063 * 2e-6);
  EXPECT_EQ(late, stamps(route, 3));
  EXPECT_NE(late, stamps(route, 4));
}

TEST(IncomingEdges, ALineKeepsItsOrderHoweverLargeTheJitter) {
  RehearsedRoute route = plain();
  route.lines.stamp_jitter_s = 5e-6;
  IncomingEdges in(route, 1);
  for (int k = 0; k < 200; ++k) in.happens(edge(100 * us + k * us, k % 2 == 0));
  const auto batch = come(in, ms);
  ASSERT_EQ(batch->edge_count, 200U);
  for (std::size_t k = 0; k < 200; ++k) {
    EXPECT_EQ(batch->edges[k].level, k % 2 == 0 ? io::Level::high : io::Level::low) << k;
    if (k == 0) continue;
    EXPECT_GE(batch->edges[k].at, batch->edges[k - 1].at);
  }
}

TEST(IncomingEdges, WhatIsLeftOfSkewMakesRisesLateAndFallsEarly) {
  RehearsedRoute route = plain();
  route.skew_left_s[io::index(gate)] = 300e-9;
  IncomingEdges in(route, 1);
  in.happens(edge(10 * us, true));
  in.happens(edge(30 * us, false));
  const auto batch = come(in, ms);
  EXPECT_EQ(batch->edges[0].at.count(), 10'300'000);
  EXPECT_EQ(batch->edges[1].at.count(), 29'700'000);
}

TEST(IncomingEdges, SampledTheyAreStampedAtTheNextLookAndAShortPulseIsGone) {
  RehearsedRoute route = plain();
  route.sampled_s = 5e-6;
  IncomingEdges in(route, 1);
  in.happens(edge(11 * us, true));   // seen at 15
  in.happens(edge(21 * us, false));  // gone
  in.happens(edge(23 * us, true));   // gone
  in.happens(edge(31 * us, false));  // seen at 35
  EXPECT_EQ(come(in, 14 * us)->edge_count, 0U);
  const auto batch = come(in, ms);
  ASSERT_EQ(batch->edge_count, 2U);
  EXPECT_EQ(batch->edges[0].at.count(), 15 * us);
  EXPECT_EQ(batch->edges[1].at.count(), 35 * us);
  EXPECT_EQ(batch->gap_count, 0U);  // nothing betrays it
  EXPECT_EQ(in.gone(), 2U);
}

// By hand: 3 at once, then one each ms. Of five edges 10 us apart the first three come.
TEST(IncomingEdges, MoreThanTheRouteTakesAreLostAndToldWithTheirNumber) {
  RehearsedRoute route = plain();
  route.lines.edges_in_per_s = 1000.0;
  route.burst_edges = 3.0;
  IncomingEdges in(route, 1);
  for (int k = 0; k < 5; ++k) in.happens(edge(10 * us * k, k % 2 == 0));
  in.happens(edge(5 * ms, false));
  const auto batch = come(in, 6 * ms);
  EXPECT_EQ(batch->edge_count, 4U);
  ASSERT_EQ(batch->gap_count, 1U);
  EXPECT_EQ(batch->gaps[0].lost, 2U);
  EXPECT_EQ(batch->gaps[0].from.count(), 20 * us);
  EXPECT_EQ(batch->gaps[0].to.count(), 5 * ms);
  EXPECT_EQ(in.counts().lost_edges, 2U);
}

TEST(IncomingEdges, ARouteThatDoesNotCountLossesToldOnlyWhereTheAlternationBreaks) {
  RehearsedRoute route = plain();
  route.lines.edges_in_per_s = 1000.0;
  route.lines.finds_loss = false;
  route.burst_edges = 1.0;
  for (const bool whole_pulse : {true, false}) {
    IncomingEdges in(route, 1);
    in.happens(edge(0, true));
    in.happens(edge(10 * us, false));
    if (whole_pulse) in.happens(edge(20 * us, true));
    in.happens(edge(5 * ms, !whole_pulse));
    const auto batch = come(in, 6 * ms);
    EXPECT_EQ(batch->edge_count, 2U);
    EXPECT_EQ(batch->gap_count, whole_pulse ? 0U : 1U);
    EXPECT_EQ(in.counts().lost_edges, 0U);
    EXPECT_EQ(in.gone(), whole_pulse ? 2U : 1U);
  }
}

}  // namespace
}  // namespace stillrotor::test
