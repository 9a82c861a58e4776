// The real-time promise of the part: once built, it asks for no memory.
#include <gtest/gtest.h>

#include "emulator/gate_quality/averaged_gates.hpp"
#include "emulator/gate_quality/gate_cleaner.hpp"
#include "emulator/gate_quality/pwm_estimate.hpp"
#include "tests/emulator/gate_quality/pwm_edges.hpp"
#include "tests/support/allocations.hpp"

namespace stillrotor {
namespace {

TEST(GateQuality, AllocatesNothing) {
  const auto still = [](std::size_t, double) { return 0.5; };
  const auto edges = test::edges_of({.jitter_s = 1e-6}, 500, still);
  GateCleaning cleaning;
  cleaning.impossible = std::chrono::microseconds(5);
  cleaning.dead_time = std::chrono::microseconds(1);
  GateCleaner cleaner(cleaning);
  AveragedGates averaged(std::chrono::microseconds(50));
  PwmEstimate estimate;
  const std::uint64_t before = allocations();
  for (const io::Edge& edge : edges) {
    estimate.edge(edge);
    cleaner.take({&edge, 1}, edge.at);
    averaged.take(cleaner.ready(), cleaner.settled());
  }
  const double jitter_s = estimate.jitter_s();
  EXPECT_EQ(allocations(), before);
  EXPECT_GT(jitter_s, 0.0);
  EXPECT_GT(cleaner.counts().repaired, 0u);
}

}  // namespace
}  // namespace stillrotor
