#include "emulator/cycle/load_wires.hpp"

#include <gtest/gtest.h>

#include <memory>

#include "tests/emulator/cycle/support.hpp"

namespace stillrotor::test {
namespace {

// 16 kHz for 10 ms: 160 periods of twelve edges.
TEST(LoadWires, BringTwelveEdgesAPeriodInOrderWithoutShootThrough) {
  HandClock clock;
  LoadWires wires(16e3, clock);
  wires.arm(0);
  const auto batch = std::make_unique<io::EdgeBatch>();
  unsigned on = 0;
  std::int64_t at_ps = 0;
  std::size_t edges = 0;
  for (clock.now = 0; clock.now <= 10 * ms_ns; clock.now += 100 * us_ns) {
    batch->clear();
    wires.read(*batch);
    for (std::size_t k = 0; k < batch->edge_count; ++k, ++edges) {
      const io::Edge& e = batch->edges[k];
      EXPECT_GE(e.at.count(), at_ps);
      EXPECT_LE(e.at.count(), 1000 * clock.now);
      at_ps = e.at.count();
      const unsigned bit = 1U << io::index(e.line);
      on = e.level == io::Level::high ? on | bit : on & ~bit;
      for (int leg = 0; leg < 3; ++leg) EXPECT_NE(on >> (2 * leg) & 3U, 3U);
    }
  }
  EXPECT_EQ(edges, 160U * 12U);
}

// What has waited too long comes over several reads, not at once.
TEST(LoadWires, NeverFillABatchBeyondItsRoom) {
  HandClock clock;
  LoadWires wires(100e3, clock);
  wires.arm(0);
  clock.now = 100 * ms_ns;
  const auto batch = std::make_unique<io::EdgeBatch>();
  wires.read(*batch);
  EXPECT_EQ(batch->edge_count, io::EdgeBatch::most_edges);
  wires.read(*batch);
  EXPECT_EQ(batch->edge_count, io::EdgeBatch::most_edges);
}

}  // namespace
}  // namespace stillrotor::test
