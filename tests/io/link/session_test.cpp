// Linux' end of the link on a wire with every fault. Whatever it does, a gate edge is read or lies
// in a gap, and outputs fall safe on silence.
#include "io/link/session.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/link/support/faulty_bench.hpp"

namespace stillrotor::io {
namespace {

TEST(LinkSession, BringsEveryEdgeAtItsTimeOverAGoodWire) {
  FaultyBench b;
  b.settle(10 * s);
  b.run(1 * s);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_TRUE(b.gaps.empty());
  EXPECT_GT(b.whole_edges, 238'000U);
  const LinkStatus& st = b.session->status();
  EXPECT_EQ(st.lost_edges + st.missed_frames + st.dropped_frames + st.spoilt_frames, 0U);
  EXPECT_EQ(st.refusals + st.silences + st.resets + st.falls, 0U);
  EXPECT_NEAR(st.drift, drift, 0.3e-6);
}

TEST(LinkSession, FindsEveryGapOfAWireThatLosesRepeatsOvertakesAndSpoils) {
  FaultyBench b({.lost = 0.01, .repeated = 0.01, .overtaken = 0.01, .spoilt = 0.01});
  b.settle(10 * s);
  b.run(2 * s);
  b.expect_every_edge_read_or_in_a_gap();
  const LinkStatus& st = b.session->status();
  EXPECT_GT(b.gaps.size(), 100U);
  EXPECT_GT(b.whole_edges, 400'000U) << "most of 480,000 are outside";
  EXPECT_GT(st.missed_frames, 100U);
  EXPECT_GT(st.dropped_frames, 100U);
  EXPECT_GT(st.spoilt_frames, 100U);
  EXPECT_EQ(st.silences + st.resets, 0U);
  EXPECT_GT(b.captured->counts().lost_edges, 5'000U) << "3 % of 480,000, by their numbers";
}

TEST(LinkSession, TellsALossThatIsTheLastThingToHappen) {
  FaultyBench b;
  b.settle();
  b.run(100 * ms);
  b.up.broken = true;
  b.run(2 * ms);
  b.edges_flow = false;
  b.run(3 * ms);
  b.up.broken = false;
  b.run(100 * ms);
  EXPECT_FALSE(b.gaps.empty()) << "by the number in a heartbeat: no frame of edges came after it";
  b.expect_every_edge_read_or_in_a_gap();
}

TEST(LinkSession, FallsSafeOnABrokenWireComesBackAndGoesLiveOnlyWhenTold) {
  FaultyBench b;
  b.settle(10 * s);
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  ASSERT_TRUE(b.session->status().live);
  b.up.broken = b.down.broken = true;
  b.run(19 * ms);
  EXPECT_TRUE(b.board.driven);
  b.run(3 * ms);
  EXPECT_FALSE(b.board.driven) << "20 ms without a command";
  b.run(1978 * ms);
  EXPECT_FALSE(b.session->status().linked);
  b.up.broken = b.down.broken = false;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
  EXPECT_FALSE(b.session->status().live);
  EXPECT_EQ(b.session->status().silences, 1U);
  EXPECT_EQ(b.session->status().falls, 1U);
  EXPECT_EQ(b.board.drives, 1);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_GT(b.session->status().lost_edges, 470'000U) << "2 s of 240,000, by their numbers";
  b.session->want_live();
  b.run(100 * ms);
  EXPECT_TRUE(b.board.driven);
}

// As told, so neither a fall nor a gap.
TEST(LinkSession, RestsAsToldAndComesBackAsTold) {
  FaultyBench b;
  b.settle();
  b.session->want_live();
  b.run(50 * ms);
  ASSERT_TRUE(b.board.driven);
  b.session->rest();
  b.run(10 * ms);
  EXPECT_FALSE(b.board.driven);
  b.run(200 * ms);
  EXPECT_FALSE(b.board.driven);
  EXPECT_EQ(b.session->status().falls, 0U);
  EXPECT_TRUE(b.gaps.empty());
  b.session->want_live();
  b.run(50 * ms);
  EXPECT_TRUE(b.board.driven);
  EXPECT_TRUE(b.gaps.empty());
}

TEST(LinkSession, ForgetsAnOrderToGoLiveWhoseEffectItNeverSaw) {
  FaultyBench b;
  b.settle();
  b.up.broken = true;  // the order arrives, no report says so
  b.session->want_live();
  b.run(5 * ms);
  ASSERT_TRUE(b.board.driven);
  b.down.broken = true;
  b.run(300 * ms);
  ASSERT_FALSE(b.board.driven);
  b.up.broken = b.down.broken = false;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
}

TEST(LinkSession, IgnoresAnOrderToGoLiveThatCameWhileTheLinkWasDown) {
  FaultyBench b;
  b.settle();
  b.session->want_live();
  b.session->disconnected();
  b.run(100 * ms);
  b.session->want_live();
  b.run(100 * ms);
  b.session->connected(2, b.now());
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_FALSE(b.board.driven);
}

// The chip's first hello may have left before Linux' hello came: it is no answer.
TEST(LinkSession, OpensItsSessionThoughTheChipSpokeFirst) {
  FaultyBench b;
  b.down.broken = true;
  b.run(30 * ms);
  b.down.broken = false;
  b.run(1 * s);
  EXPECT_TRUE(b.session->status().running);
}

TEST(LinkSession, ComesBackOverANewConnection) {
  FaultyBench b;
  b.settle(10 * s);
  b.session->disconnected();
  b.up.broken = b.down.broken = true;
  b.run(300 * ms);
  b.up.broken = b.down.broken = false;
  b.session->connected(2, b.now());
  b.run(300 * ms);
  EXPECT_TRUE(b.session->status().running);
  b.expect_every_edge_read_or_in_a_gap();
  EXPECT_FALSE(b.gaps.empty());
}

TEST(LinkSession, FallsSafeWhenTheCycleHangsThoughTheLinkGoesOn) {
  FaultyBench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.cycle_runs = false;
  b.run(30 * ms);
  EXPECT_FALSE(b.board.driven);
  EXPECT_TRUE(b.session->status().linked);
  EXPECT_FALSE(b.gaps.empty()) << "what the controller saw from here on was not the plant";
}

TEST(LinkSession, MakesSafeAndStaysThere) {
  FaultyBench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.session->make_safe();
  b.run(5 * ms);
  EXPECT_FALSE(b.board.driven);
  b.session->want_live();
  b.run(100 * ms);
  EXPECT_FALSE(b.board.driven);
}

TEST(LinkSession, StartsAChipAnewThatWasResetAndTellsTheGap) {
  FaultyBench b;
  b.settle(10 * s);
  b.session->want_live();
  b.run(100 * ms);
  b.edges_flow = false;  // their ticks would be of the counter before
  b.run(10 * ms);
  b.reset(78);
  EXPECT_FALSE(b.board.driven);
  b.run(1 * s);
  EXPECT_TRUE(b.session->status().running);
  EXPECT_EQ(b.session->status().resets, 1U);
  EXPECT_FALSE(b.session->status().live);
  EXPECT_FALSE(b.board.driven);
  ASSERT_FALSE(b.gaps.empty());
}

TEST(LinkSession, TellsWhatTheChipItselfHasLostAsAGap) {
  FaultyBench b;
  b.settle();
  b.run(50 * ms);
  ASSERT_TRUE(b.gaps.empty());
  b.board.lost_edges = 3;  // by the capture
  b.run(10 * ms);
  EXPECT_EQ(b.gaps.size(), 6U) << "one of each gate";
}

// Each report beside the steps of the core that it speaks of: 100 of them, and the last one's end.
TEST(LinkSession, BringsMeanCurrentsInAmperes) {
  FaultyBench b;
  b.edges_flow = false;
  b.settle();
  const auto& core = b.board.chip.core.plant;
  const double ampere = board_settings().plant.scale.ampere;
  b.board.edges.push_back({b.board.counter + 70, CP_UH | CP_VL | CP_WL});
  b.board.edges.push_back({b.board.counter + 7'070, CP_UL | CP_VL | CP_WL});
  std::vector<double> i_U;
  b.reports.clear();
  while (b.reports.size() < 20) {
    b.step();
    i_U.push_back(core.plant.i[0] * ampere);
  }
  int found = 0;
  double largest = 0.0;
  for (const LinkReport& r : b.reports) {
    EXPECT_NEAR(r.lasts_s, 1e-3, 1e-9);
    EXPECT_NEAR(r.bus_V, 72.0, 5.0);
    largest = std::max(largest, r.mean_A[0]);
    for (std::size_t k = 99; k < i_U.size() && r.end_A[0] != 0.0; ++k) {
      double sum = 0.0;
      for (std::size_t n = k - 99; n <= k; ++n) sum += i_U[n];
      if (i_U[k] == r.end_A[0] && std::fabs(sum / 100.0 - r.mean_A[0]) < 1e-9) {
        ++found;
        break;
      }
    }
  }
  EXPECT_GT(largest, 10.0);
  EXPECT_GE(found, 15) << "the first ones began before the test looked";
}

// The angle that the outputs show is what was sent ahead: 50 rad/s from begin_ns on.
TEST(LinkSession, LeadsTheAngleThatWasSentAhead) {
  FaultyBench b;
  b.settle(10 * s);
  b.run(100 * ms);
  const LinkReport& r = b.reports.back();
  const double due =
      std::remainder(1e-9 * static_cast<double>(r.theta_at_ns - begin_ns) * 50.0 - r.theta_m_rad,
                     6.28318530717958648);
  EXPECT_NEAR(due, 0.0, 50.0 * 0.54e-6 + 1e-6) << "0.54 us at 50 rad/s, and what joints may miss";
  EXPECT_EQ(b.board.chip.core.motion.track.late_pieces, 0U);
}

TEST(LinkSession, SaysWhenAChipCannotRunItsParameters) {
  FaultyBench b;
  b.board.chip.hello.tick_Hz = 24'000'000;
  b.run(500 * ms);
  EXPECT_TRUE(b.session->status().unfit);
  EXPECT_FALSE(b.session->status().running);
}

TEST(LinkSession, ShowsNothingElseInPlaceOfWhatTheChipCannotShow) {
  FaultyBench b;
  b.settle();
  b.session->want_live();
  b.run(100 * ms);
  ASSERT_TRUE(b.board.driven);
  b.cycle_runs = false;
  Ahead a;
  a.at_ns = b.now() + 3 * ms;
  a.source_V = 500.0;  // of 100
  b.session->ahead(a);
  b.run(5 * ms);
  EXPECT_FALSE(b.board.driven);
  EXPECT_TRUE(b.session->status().unfit);
}

}  // namespace
}  // namespace stillrotor::io
