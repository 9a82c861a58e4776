// A minute of 240,000 gate edges a second, over the two wires that lose most easily.
#include <gtest/gtest.h>

#include "tests/io/link/support/end_to_end.hpp"

namespace stillrotor::io {
namespace {

void expect_all_of_a_minute(FarEnd::Kind kind) {
  constexpr std::uint64_t count = 60 * 240'000;
  const Arrived got = send_over(kind, count);
  ASSERT_TRUE(got.ran);
  EXPECT_EQ(got.edges, count);
  for (const std::uint64_t of_one : got.of_gate) EXPECT_EQ(of_one, count / 6);
  EXPECT_EQ(got.gaps, 0U);
}

TEST(LinkForAMinute, LosesNothingOverAPseudoTerminal) {
  expect_all_of_a_minute(FarEnd::Kind::serial);
}
TEST(LinkForAMinute, LosesNothingOverUdp) { expect_all_of_a_minute(FarEnd::Kind::udp); }

}  // namespace
}  // namespace stillrotor::io
