#include "emulator/handover/dropping_sink.hpp"

#include <gtest/gtest.h>

#include <thread>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

Frame frame_at(std::int64_t t_ps) {
  Frame frame;
  frame.at_ps = t_ps;
  return frame;
}

TEST(DroppingSink, PassesEverythingOnInOrderWhileTheReaderKeepsUp) {
  DroppingSink sink;
  KeepingSink kept;
  for (std::int64_t k = 0; k < 100'000; ++k) {
    sink.frame(frame_at(k));
    sink.edge({k, 3, 1});
    if (k % 100 == 0) sink.mark(MarkKind::event, k, "event", "detail");
    if (k % 50 == 0) sink.deliver(kept);
  }
  EXPECT_TRUE(sink.end());
  sink.deliver(kept);
  ASSERT_EQ(kept.frames.size(), 100'000U);
  ASSERT_EQ(kept.edges.size(), 100'000U);
  ASSERT_EQ(kept.marks.size(), 1'000U);
  for (std::int64_t k = 0; k < 100'000; ++k) {
    ASSERT_EQ(kept.frames[static_cast<std::size_t>(k)].at_ps, k);
    ASSERT_EQ(kept.edges[static_cast<std::size_t>(k)].at_ps, k);
  }
  EXPECT_EQ(sink.dropped().all(), 0U);
}

// A reader that stalls while 20,000 frames come: what is not counted as lost arrives, in order, and
// the gap covers exactly what is missing.
TEST(DroppingSink, AStalledReaderLosesOnlyWhatIsCountedAndMarked) {
  DroppingSink sink;
  KeepingSink kept;
  for (std::int64_t k = 0; k < 20'000; ++k) sink.frame(frame_at(k));
  const std::uint64_t lost = sink.dropped().frames;
  EXPECT_EQ(lost, 20'000U - DroppingSink::frames_most);
  sink.deliver(kept);
  for (std::int64_t k = 20'000; k < 20'010; ++k) sink.frame(frame_at(k));
  sink.deliver(kept);
  EXPECT_EQ(kept.frames.size() + lost, 20'010U);
  for (std::size_t k = 1; k < kept.frames.size(); ++k)
    EXPECT_LT(kept.frames[k - 1].at_ps, kept.frames[k].at_ps);
  ASSERT_EQ(kept.marks.size(), 1U);
  EXPECT_EQ(kept.marks[0].kind, MarkKind::gap);
  EXPECT_EQ(kept.marks[0].name, "record dropped");
  EXPECT_EQ(kept.marks[0].at_ps, static_cast<std::int64_t>(DroppingSink::frames_most));
  EXPECT_EQ(kept.marks[0].to_ps, 19'999);
}

TEST(DroppingSink, LostEdgesAndMarksAreCountedAndCoveredToo) {
  DroppingSink sink;
  KeepingSink kept;
  std::vector<LineEdge> edges;
  for (std::int64_t k = 0; k < 70'000; ++k) edges.push_back({k, 0, 1});
  sink.edges(edges);
  for (std::int64_t k = 0; k < 2'000; ++k) sink.mark(MarkKind::event, k, "e", "");
  EXPECT_EQ(sink.dropped().edges, 70'000U - DroppingSink::edges_most);
  EXPECT_EQ(sink.dropped().marks, 2'000U - DroppingSink::marks_most);
  EXPECT_FALSE(sink.end());  // no room for the gap mark yet
  sink.deliver(kept);
  EXPECT_TRUE(sink.end());
  sink.deliver(kept);
  EXPECT_EQ(kept.edges.size(), DroppingSink::edges_most);
  ASSERT_EQ(kept.marks.size(), DroppingSink::marks_most + 1);
  EXPECT_EQ(kept.marks.back().kind, MarkKind::gap);
  EXPECT_EQ(kept.marks.back().at_ps, static_cast<std::int64_t>(DroppingSink::marks_most));
  EXPECT_EQ(kept.marks.back().to_ps, 69'999);
}

TEST(DroppingSink, CutsTextThatIsTooLong) {
  DroppingSink sink;
  KeepingSink kept;
  sink.mark(MarkKind::text, 1, std::string(1000, 'n'), std::string(1000, 'd'));
  sink.deliver(kept);
  ASSERT_EQ(kept.marks.size(), 1U);
  EXPECT_EQ(kept.marks[0].name, std::string(64, 'n'));
  EXPECT_GT(kept.marks[0].detail.size(), 100U);
}

TEST(DroppingSink, CarriesAcrossThreads) {
  DroppingSink sink;
  KeepingSink kept;
  std::atomic<bool> done{false};
  std::thread producer([&] {
    for (std::int64_t k = 0; k < 300'000; ++k) sink.edge({k, 0, 1});
    done = true;
  });
  while (!done) sink.deliver(kept);
  producer.join();
  sink.deliver(kept);
  EXPECT_EQ(kept.edges.size() + sink.dropped().edges, 300'000U);
}

}  // namespace
}  // namespace stillrotor::test
