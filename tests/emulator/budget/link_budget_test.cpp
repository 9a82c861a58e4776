// Demand and limits of a bench behind a timing co-processor.
#include "emulator/budget/link_budget.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "emulator/partition/link_settings.hpp"

namespace stillrotor {
namespace {

using ::testing::HasSubstr;

struct Summed {
  explicit Summed(const std::vector<std::string>& overrides = {},
                  const std::optional<ChipStamps>& stamps = {}) {
    bench = load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-mid-link.yaml",
                       overrides, "/none");
    io::LinkConfig link = std::get<io::LinkConfig>(bench.controller);
    link.settings = link_settings(bench, link);
    sum = link_budget(bench, link, stamps.value_or(declared_stamps(link)));
  }
  const Demand& of(const std::string& signal) const {
    const auto found = std::find_if(sum.demands.begin(), sum.demands.end(),
                                    [&](const Demand& d) { return d.signal == signal; });
    EXPECT_NE(found, sum.demands.end()) << signal;
    return *found;
  }
  Bench bench;
  Budget sum;
};

// By hand: 12 * 8 kHz; 4 * 12 ns; 360 deg * 500 Hz * (5 + 10 + 0.2 us); 1 + 2 ms.
TEST(LinkBudget, OfTheShippedBenchFitsAndIsTheThirdGrade) {
  const Summed s;
  EXPECT_TRUE(s.sum.fits());
  EXPECT_EQ(s.sum.grade, Grade::partitioned);
  EXPECT_DOUBLE_EQ(s.of("gates, in").demand, 96'000.0);
  EXPECT_DOUBLE_EQ(s.of("gates, in").limit, 240'000.0);
  EXPECT_NEAR(s.of("dead time, in").demand, 0.048, 1e-9);
  EXPECT_NEAR(s.of("currents, out").demand, 2.736, 1e-9);
  EXPECT_NEAR(s.of("driver's inputs, out").demand, 3.0, 1e-9);
  EXPECT_NEAR(s.of("angle, out").demand, 3000.0, 1e-6);
  EXPECT_GT(s.of("angle, out").limit, 3000.0);
  EXPECT_THAT(s.of("dead time, in").grounds, HasSubstr("declared"));
}

// By hand: 3e6 / 10 bytes/s, less 114 * 100 for reports and 42 * 500 for heartbeats, over 3.4 bytes
// an edge: 78,706 edges/s, below 96,000.
TEST(LinkBudget, CountsWhatALineWithASpeedCarries) {
  const Summed s(
      {"controller.link.address=serial:/dev/ttyS0@3000000", "controller.link.report=10 ms"});
  EXPECT_NEAR(s.of("gates, in").limit, 78'706.0, 1.0);
  EXPECT_FALSE(s.of("gates, in").fits);
  EXPECT_FALSE(s.sum.fits());
  EXPECT_TRUE(Summed({"controller.link.address=serial:/dev/ttyACM0"}).of("gates, in").fits)
      << "over USB there is no speed of the line's own";
  EXPECT_TRUE(Summed({"controller.link.address=unix:/run/a@b"}).of("gates, in").fits);
}

TEST(LinkBudget, TakesWhatTheChipSaysOfItself) {
  const Summed s({}, ChipStamps{200e-9, 300e-9, true});
  EXPECT_NEAR(s.of("dead time, in").demand, 1.2, 1e-9);
  EXPECT_FALSE(s.of("dead time, in").fits);
  EXPECT_THAT(s.of("dead time, in").grounds, HasSubstr("as the chip says"));
}

// A jitter of nothing is still rounded: 40 ns / sqrt(12) = 11.5 ns.
TEST(LinkBudget, NoStampIsBetterThanItsRounding) {
  EXPECT_NEAR((ChipStamps{40e-9, 0.0, true}.error_s()), 11.547e-9, 1e-12);
}

TEST(LinkBudget, RefusesALoopThatIsTooFastForTheStep) {
  const Summed s({"controller.expects.current_loop=3 kHz"});
  EXPECT_FALSE(s.of("currents, out").fits);
  EXPECT_THAT(s.of("currents, out").remedy, HasSubstr("a shorter step"));
}

}  // namespace
}  // namespace stillrotor
