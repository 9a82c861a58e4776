#include "emulator/handover/edge_gatherer.hpp"

#include <gtest/gtest.h>

#include <string>

namespace stillrotor {
namespace {

/// Writes down what comes: e with the edge's time, f, m.
class Diary final : public RunSink {
 public:
  void frame(const Frame&) noexcept override { text += "f "; }
  void edge(const LineEdge& e) noexcept override { text += "e" + std::to_string(e.at_ps) + " "; }
  void mark(MarkKind, std::int64_t, std::string_view name, std::string_view,
            std::int64_t) noexcept override {
    text += std::string(name) + " ";
  }
  std::string text;
};

TEST(EdgeGatherer, KeepsEdgesBeforeTheFramesAndMarksThatFollowThem) {
  Diary diary;
  {
    EdgeGatherer gatherer(diary);
    gatherer.edge({1, 0, 1});
    gatherer.edge({2, 1, 0});
    gatherer.frame({});
    gatherer.mark(MarkKind::event, 3, "first", "");
    gatherer.edge({4, 0, 0});
    gatherer.mark(MarkKind::event, 5, "second", "");
    gatherer.edge({6, 0, 1});
  }
  EXPECT_EQ(diary.text, "e1 e2 f first e4 second e6 ");
}

TEST(EdgeGatherer, LosesNoneWhenNothingElseComesForLong) {
  Diary diary, expected;
  {
    EdgeGatherer gatherer(diary);
    for (std::int64_t k = 0; k < 1000; ++k) {
      gatherer.edge({k, 0, 1});
      expected.edge({k, 0, 1});
    }
  }
  EXPECT_EQ(diary.text, expected.text);
}

}  // namespace
}  // namespace stillrotor
