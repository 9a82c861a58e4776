#include "emulator/cycle/gap_notes.hpp"

#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

TEST(GapNotes, JoinWhatNearlyTouchesAndKeepApartWhatDoesNot) {
  KeepingSink sink;
  GapNotes gaps(sink);
  gaps.note(10 * ms, 11 * ms, "late", "UH");
  gaps.note(9 * ms, 10 * ms, "late", "UH");   // an older one, said later
  gaps.note(16 * ms, 17 * ms, "late", "UH");  // 5 ms after: still joined
  gaps.note(23 * ms, 24 * ms, "late", "UH");  // 6 ms after
  gaps.say();
  ASSERT_EQ(sink.marks.size(), 2U);
  EXPECT_EQ(sink.marks[0].at_ps, 9 * ms);
  EXPECT_EQ(sink.marks[0].to_ps, 17 * ms);
  EXPECT_EQ(sink.marks[1].at_ps, 23 * ms);
  EXPECT_EQ(sink.marks[1].to_ps, 24 * ms);
}

TEST(GapNotes, OfDifferentCausesStayApart) {
  KeepingSink sink;
  GapNotes gaps(sink);
  gaps.note(1 * ms, 2 * ms, "late", "UH");
  gaps.note(1 * ms, 2 * ms, "late", "UL");
  gaps.note(1 * ms, 2 * ms, "missed", "UL");
  gaps.say();
  gaps.say();
  EXPECT_EQ(sink.marks.size(), 3U);
}

TEST(GapNotes, AreSaidOnceTheyHaveBeenOverForAWhile) {
  KeepingSink sink;
  GapNotes gaps(sink);
  gaps.note(1 * ms, 2 * ms, "late", "UH");
  gaps.pass(7 * ms);
  EXPECT_TRUE(sink.marks.empty());
  gaps.pass(7 * ms + 1);
  EXPECT_EQ(sink.marks.size(), 1U);
}

}  // namespace
}  // namespace stillrotor::test
