// A run is a function of bench and scenario: how far the scheduler looks ahead, how busy the
// machine is and how often it is repeated change nothing that matters.
#include <gtest/gtest.h>

#include <atomic>
#include <cstring>
#include <thread>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

/// The greatest distance between the edges of two runs, line by line [ps]; -1: not the same edges.
std::int64_t greatest_shift_ps(const KeepingSink& a, const KeepingSink& b) {
  std::int64_t greatest = 0;
  for (std::uint16_t k = 0; k < io::line_count; ++k) {
    const auto of_a = a.edges_of(io::LineId{k}), of_b = b.edges_of(io::LineId{k});
    if (of_a.size() != of_b.size()) return -1;
    for (std::size_t n = 0; n < of_a.size(); ++n) {
      if (of_a[n].level != of_b[n].level) return -1;
      greatest = std::max(greatest, std::abs(of_a[n].at_ps - of_b[n].at_ps));
    }
  }
  return greatest;
}

bool same_bytes(const KeepingSink& a, const KeepingSink& b) {
  if (a.frames.size() != b.frames.size() || a.edges.size() != b.edges.size()) return false;
  for (std::size_t k = 0; k < a.frames.size(); ++k) {
    const Frame &x = a.frames[k], &y = b.frames[k];
    if (x.at_ps != y.at_ps || std::memcmp(x.value.data(), y.value.data(), sizeof x.value) != 0 ||
        std::memcmp(x.least.data(), y.least.data(), sizeof x.least) != 0 ||
        std::memcmp(x.greatest.data(), y.greatest.data(), sizeof x.greatest) != 0)
      return false;
  }
  for (std::size_t k = 0; k < a.edges.size(); ++k) {
    const LineEdge &x = a.edges[k], &y = b.edges[k];
    if (x.at_ps != y.at_ps || x.line != y.line || x.level != y.level) return false;
  }
  return true;
}

class LookAhead : public ::testing::TestWithParam<std::int64_t> {
 protected:
  void expect_the_same_run(const Bench& bench, std::int64_t lasts_ps) {
    const Scenario scenario = drive_off(lasts_ps, 2.0);
    KeepingSink usual, other;
    run(bench, scenario, usual, 100 * us);
    run(bench, scenario, other, GetParam());
    ASSERT_GT(usual.edges.size(), 5'000U);
    ASSERT_GT(usual.edges_of(io::line::hall_U).size(), 10U);
    const std::int64_t shift_ps = greatest_shift_ps(usual, other);
    EXPECT_GE(shift_ps, 0);
    EXPECT_LE(shift_ps, 1'000);
    EXPECT_TRUE(same_bytes(usual, other));
  }
};

// docs/decisions/0001-virtual-time.md promises 1 ns; steps that begin at gate edges, reads and
// sensor edges only make it nothing at all.
TEST_P(LookAhead, LeavesNoTraceInASixStepDrive) { expect_the_same_run(hub_bench(), 300 * ms); }
TEST_P(LookAhead, LeavesNoTraceInAFieldOrientedDrive) {
  expect_the_same_run(mid_bench(), 200 * ms);
}

INSTANTIATE_TEST_SUITE_P(HalvedAndOddAndShort, LookAhead,
                         ::testing::Values(50 * us, 37 * us + 1, 3 * us));

TEST(Run, RepeatedGivesTheSameBytes) {
  const Scenario scenario = drive_off(200 * ms, 2.4);
  KeepingSink first, second;
  run(mid_bench(), scenario, first);
  run(mid_bench(), scenario, second);
  EXPECT_TRUE(same_bytes(first, second));
}

// The comparison itself can tell runs apart.
TEST(Run, OfAnotherThrottleGivesOtherBytes) {
  KeepingSink first, second;
  run(mid_bench(), drive_off(100 * ms, 2.4), first);
  run(mid_bench(), drive_off(100 * ms, 2.41), second);
  EXPECT_FALSE(same_bytes(first, second));
}

TEST(Run, GivesTheSameBytesOnABusyMachine) {
  const Scenario scenario = drive_off(200 * ms, 2.4);
  KeepingSink calm, busy;
  run(hub_bench(), scenario, calm);
  std::atomic<bool> enough{false};
  std::vector<std::thread> spinning;
  for (unsigned k = 0; k < 2 * std::max(1U, std::thread::hardware_concurrency()); ++k)
    spinning.emplace_back([&enough] {
      while (!enough) {
      }
    });
  run(hub_bench(), scenario, busy);
  enough = true;
  for (auto& thread : spinning) thread.join();
  EXPECT_TRUE(same_bytes(calm, busy));
}

TEST(Run, PacedByTheWallClockGivesTheSameBytes) {
  const Scenario scenario = drive_off(60 * ms, 2.4);
  KeepingSink fast, paced;
  run(hub_bench(), scenario, fast);
  const auto controller = io::make_controller(hub_bench().controller);
  RunOptions options;
  options.pace_wall = true;
  const RunOutcome outcome = run_virtual(hub_bench(), scenario, *controller, paced, options);
  EXPECT_TRUE(same_bytes(fast, paced));
  EXPECT_GE(outcome.wall_s, 0.050);  // 60 ms less what it may run ahead
}

// Whoever asks for a stop gets one, soon, with the time reached.
TEST(Run, StopsWhenAsked) {
  std::atomic<bool> stop{true};
  RunOptions options;
  options.stop = &stop;
  KeepingSink sink;
  const auto controller = io::make_controller(hub_bench().controller);
  const RunOutcome outcome =
      run_virtual(hub_bench(), drive_off(100 * second, 2.0), *controller, sink, options);
  EXPECT_TRUE(outcome.interrupted);
  EXPECT_LT(outcome.end_ps, second);
}

}  // namespace
}  // namespace stillrotor::test
