// Expected: the rules at the head of loss_watch.hpp, by hand.
#include "io/gpiod/loss_watch.hpp"

#include <gtest/gtest.h>

namespace stillrotor::io::gpiod {
namespace {

RawEdge edge(std::int64_t at_ns, bool active, std::uint32_t sequence = 0) {
  return {at_ns, 0, active, sequence};
}

class Losses : public testing::Test {
 protected:
  Losses() { watch.start(0, false); }
  LossWatch watch;
};

TEST_F(Losses, RiseAndFallInTurnWithNumbersInARowMissNothing) {
  for (std::uint32_t k = 1; k <= 6; ++k)
    EXPECT_FALSE(watch.next(edge(k * 100, k % 2 != 0, k))) << k;
}

TEST_F(Losses, RiseAndFallInTurnWithoutNumbersMissNothing) {
  for (int k = 1; k <= 6; ++k) EXPECT_FALSE(watch.next(edge(k * 100, k % 2 != 0))) << k;
}

TEST_F(Losses, AJumpInTheNumbersSaysHowMany) {
  EXPECT_FALSE(watch.next(edge(100, true, 1)));
  const auto loss = watch.next(edge(900, false, 6));  // 2 to 5: four, so the direction fits
  ASSERT_TRUE(loss);
  EXPECT_EQ(loss->lost, 4u);
  EXPECT_EQ(loss->at_least, 4u);
  EXPECT_EQ(loss->from_ns, 100);
  EXPECT_EQ(loss->to_ns, 900);
}

TEST_F(Losses, AnOddJumpExplainsARepeatedDirection) {
  EXPECT_FALSE(watch.next(edge(100, true, 1)));
  const auto loss = watch.next(edge(900, true, 3));
  ASSERT_TRUE(loss);
  EXPECT_EQ(loss->lost, 1u);
}

TEST_F(Losses, AnEvenJumpWithARepeatedDirectionHidesOneMore) {
  EXPECT_FALSE(watch.next(edge(100, true, 1)));
  const auto loss = watch.next(edge(900, true, 4));
  ASSERT_TRUE(loss);
  EXPECT_EQ(loss->lost, 0u) << "how many is unknown";
  EXPECT_EQ(loss->at_least, 3u) << "two by number, one by direction";
}

TEST_F(Losses, TheSameDirectionTwiceHidesAtLeastOne) {
  EXPECT_FALSE(watch.next(edge(100, true)));
  const auto loss = watch.next(edge(300, true));
  ASSERT_TRUE(loss);
  EXPECT_EQ(loss->lost, 0u);
  EXPECT_EQ(loss->at_least, 1u);
}

TEST_F(Losses, TheFirstEdgeIsHeldAgainstTheLevelBefore) {
  const auto loss = watch.next(edge(300, false));
  ASSERT_TRUE(loss);
  EXPECT_EQ(loss->from_ns, 0);
}

TEST_F(Losses, NumbersGoOnWhereTheirThirtyTwoBitsEnd) {
  watch.next(edge(100, true, UINT32_MAX));
  EXPECT_FALSE(watch.next(edge(200, false, 0)));
  EXPECT_FALSE(watch.next(edge(300, true, 1)));
  EXPECT_TRUE(watch.next(edge(400, false, 4)));
}

TEST_F(Losses, AFullQueueIsAStretchFromItsLastEdgeToItsEmptying) {
  watch.next(edge(100, true));
  const Loss loss = watch.queue_was_full(5'000);
  EXPECT_EQ(loss.from_ns, 100);
  EXPECT_EQ(loss.to_ns, 5'000);
  EXPECT_EQ(loss.lost, 0u);
  EXPECT_EQ(loss.at_least, 0u) << "perhaps nothing";
}

// What the README admits: it can be seen nowhere.
TEST_F(Losses, AWholePulseThatTheKernelNeverSawLeavesNoTrace) {
  EXPECT_FALSE(watch.next(edge(100, true, 1)));
  // falls at 200 and rises at 201: merged
  EXPECT_FALSE(watch.next(edge(300, false, 2)));
}

}  // namespace
}  // namespace stillrotor::io::gpiod
