#include "io/captured_edges.hpp"

#include <gtest/gtest.h>

#include <memory>
#include <thread>

namespace stillrotor::io {
namespace {

constexpr std::int64_t armed_at = 1'000'000;  // ns

class Captured : public testing::Test {
 protected:
  const EdgeBatch& read(std::int64_t now_ns) {
    batch->clear();
    edges->read(*batch, now_ns);
    return *batch;
  }
  std::unique_ptr<CapturedEdges> edges = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
};

TEST_F(Captured, LinesThatStandOnAtArmingBeginWithAnEdgeAtZero) {
  edges->edge(10, line::gate_UH, true);
  edges->edge(20, line::gate_UL, true);
  edges->edge(30, line::gate_UL, false);
  edges->arm(armed_at);
  edges->alive(armed_at + 5);
  const EdgeBatch& got = read(armed_at + 10);
  ASSERT_EQ(got.edge_count, 1u) << "UL stands off";
  EXPECT_EQ(got.edges[0].line, line::gate_UH);
  EXPECT_EQ(got.edges[0].level, Level::high);
  EXPECT_EQ(got.edges[0].at, Time{0});
}

TEST_F(Captured, LevelsComeBeforeTheFirstEdgeEvenWithoutASignOfLife) {
  edges->edge(10, line::gate_VH, true);
  edges->arm(armed_at);
  edges->edge(armed_at + 7, line::gate_VH, false);
  const EdgeBatch& got = read(armed_at + 10);
  ASSERT_EQ(got.edge_count, 2u);
  EXPECT_EQ(got.edges[0].level, Level::high);
  EXPECT_EQ(got.edges[1].level, Level::low);
  EXPECT_EQ(got.edges[1].at, Time{7'000}) << "7 ns in picoseconds";
}

TEST_F(Captured, AnEdgeFromBeforeArmingThatComesLateStandsAtZero) {
  edges->edge(10, line::gate_UH, false);
  edges->arm(armed_at);
  edges->alive(armed_at + 1);
  edges->edge(armed_at - 3, line::gate_UH, true);
  const EdgeBatch& got = read(armed_at + 10);
  ASSERT_EQ(got.edge_count, 1u);
  EXPECT_EQ(got.edges[0].level, Level::high);
  EXPECT_EQ(got.edges[0].at, Time{0});
}

TEST_F(Captured, NothingIsReadFromTheFuture) {
  edges->arm(armed_at);
  edges->edge(armed_at + 50, line::gate_UH, true);
  EXPECT_EQ(read(armed_at + 49).edge_count, 0u);
  EXPECT_EQ(read(armed_at + 50).edge_count, 1u);
}

TEST_F(Captured, ABatchIsInOrderAndWhatCameTooLateForItIsCounted) {
  edges->arm(armed_at);
  edges->edge(armed_at + 30, line::gate_UH, true);
  edges->edge(armed_at + 20, line::gate_VH, true);
  const EdgeBatch& got = read(armed_at + 100);
  ASSERT_EQ(got.edge_count, 2u);
  EXPECT_EQ(got.edges[0].line, line::gate_VH);
  EXPECT_EQ(edges->counts().late_stamps, 0u) << "put in order within one batch";
  edges->edge(armed_at + 25, line::gate_WH, true);
  EXPECT_EQ(read(armed_at + 100).edge_count, 1u) << "still told";
  EXPECT_EQ(edges->counts().late_stamps, 1u);
}

TEST_F(Captured, WhatDoesNotFitStaysForTheNextRead) {
  edges->arm(armed_at);
  constexpr std::size_t sent = 3000;
  for (std::size_t k = 0; k < sent; ++k)
    edges->edge(armed_at + static_cast<std::int64_t>(k), line::gate_UH, k % 2 == 0);
  std::size_t got = 0;
  while (read(armed_at + 10'000).edge_count > 0) got += batch->edge_count;
  EXPECT_EQ(got, sent);
}

TEST_F(Captured, AFullRingIsToldAsAGapWithItsCount) {
  edges->arm(armed_at);
  constexpr std::size_t sent = 40'000;  // the ring holds fewer
  for (std::size_t k = 0; k < sent; ++k)
    edges->edge(armed_at + static_cast<std::int64_t>(k), line::gate_UH, k % 2 == 0);
  std::size_t got = 0, lost = 0;
  const auto drain = [&] {
    for (read(armed_at + 100'000); batch->edge_count + batch->gap_count > 0;
         read(armed_at + 100'000)) {
      got += batch->edge_count;
      for (std::size_t k = 0; k < batch->gap_count; ++k) lost += batch->gaps[k].lost;
    }
  };
  drain();
  EXPECT_LT(got, sent);
  EXPECT_EQ(lost, 0u) << "there was no room to tell it";
  edges->edge(armed_at + 50'000, line::gate_UH, true);
  drain();
  EXPECT_EQ(got + lost, sent + 1);
  EXPECT_EQ(edges->counts().lost_edges, lost);
}

TEST_F(Captured, GapsBeforeArmingConcernNobody) {
  edges->gap({100, 200, 5, 5}, line::gate_UH);
  edges->arm(armed_at);
  edges->gap({armed_at - 5, armed_at + 5, 0, 1}, line::gate_UH);
  const EdgeBatch& got = read(armed_at + 10);
  ASSERT_EQ(got.gap_count, 1u);
  EXPECT_EQ(got.gaps[0].from, Time{0});
  EXPECT_EQ(got.gaps[0].to, Time{5'000});
  EXPECT_EQ(edges->counts().lost_edges, 1u);
}

// Under the thread sanitizer: both ends at once.
TEST_F(Captured, TwoThreadsLoseNothing) {
  edges->arm(armed_at);
  constexpr std::int64_t sent = 20'000;
  std::thread capture([this] {
    for (std::int64_t k = 0; k < sent; ++k) edges->edge(armed_at + k, line::gate_UH, k % 2 == 0);
  });
  std::int64_t got = 0;
  while (got < sent) got += static_cast<std::int64_t>(read(armed_at + sent).edge_count);
  capture.join();
  EXPECT_EQ(got, sent);
  EXPECT_EQ(edges->counts().gaps, 0u);
}

TEST_F(Captured, TheComplementOfThreeWiresFollowsBetweenTwoEdges) {
  edges = std::make_unique<CapturedEdges>(GateWires::three, 1e-6);
  edges->edge(10, line::gate_UH, false);
  edges->arm(armed_at);
  edges->alive(armed_at);
  EXPECT_EQ(read(armed_at + 999).edge_count, 0u);
  const EdgeBatch& got = read(armed_at + 1'500);
  ASSERT_EQ(got.edge_count, 1u);
  EXPECT_EQ(got.edges[0].line, line::gate_UL);
  EXPECT_EQ(got.edges[0].at, Time{1'000'000}) << "the dead time, 1 us";
}

}  // namespace
}  // namespace stillrotor::io
