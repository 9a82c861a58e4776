// The ring between the thread that computes and the one that writes: what is filled arrives in its
// order, and what comes back is used again while it is still in a cache.
#include "emulator/handover/batch_ring.hpp"

#include <gtest/gtest.h>

#include <set>
#include <vector>

namespace stillrotor {
namespace {

TEST(BatchRing, HandsOutAllItHasAndNoMore) {
  BatchRing ring;
  std::set<Batch*> taken;
  while (Batch* batch = ring.take_free()) taken.insert(batch);
  EXPECT_EQ(taken.size(), BatchRing::batch_count);
  EXPECT_EQ(ring.next(), nullptr);
  ring.hand_over(*taken.begin());
  EXPECT_EQ(ring.take_free(), nullptr) << "the consumer has not looked at it yet";
  ring.give_back(ring.next());
  EXPECT_EQ(ring.take_free(), *taken.begin());
}

TEST(BatchRing, KeepsTheOrderOfWhatIsFilled) {
  BatchRing ring;
  std::vector<Batch*> filled;
  for (int n = 0; n < 5; ++n) {
    filled.push_back(ring.take_free());
    filled.back()->edge_count = static_cast<std::size_t>(n);
    ring.hand_over(filled.back());
  }
  for (Batch* batch : filled) EXPECT_EQ(ring.next(), batch);
}

TEST(BatchRing, UsesFewWhereTheConsumerKeepsUp) {
  BatchRing ring;
  std::set<Batch*> used;
  for (int round = 0; round < 1000; ++round) {
    for (int n = 0; n < 3; ++n) {
      Batch* batch = ring.take_free();
      ASSERT_NE(batch, nullptr);
      EXPECT_TRUE(batch->empty());
      used.insert(batch);
      batch->frame_count = 1;
      ring.hand_over(batch);
    }
    while (Batch* batch = ring.next()) ring.give_back(batch);
  }
  EXPECT_EQ(used.size(), 3U);
}

}  // namespace
}  // namespace stillrotor
