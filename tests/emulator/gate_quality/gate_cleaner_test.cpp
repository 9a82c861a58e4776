// Skew, order and impossible overlaps: what reaches the plant, and what is counted.
#include "emulator/gate_quality/gate_cleaner.hpp"

#include <gtest/gtest.h>

#include <map>
#include <stdexcept>

#include "tests/emulator/gate_quality/pwm_edges.hpp"

namespace stillrotor {
namespace {

using io::Edge;
using io::Level;
using io::Time;
using namespace io::line;

constexpr Time ns(std::int64_t n) { return Time{1000 * n}; }

Edge on(std::int64_t at_ns, io::LineId line) { return {ns(at_ns), line, Level::high}; }
Edge off(std::int64_t at_ns, io::LineId line) { return {ns(at_ns), line, Level::low}; }

std::string text(std::span<const Edge> edges) {
  static const char* names[] = {"UH", "UL", "VH", "VL", "WH", "WL"};
  std::string all;
  for (const Edge& edge : edges)
    all += (io::is_gate(edge.line) ? names[io::index(edge.line)] : "other") +
           std::string(edge.level == Level::high ? "+" : "-") +
           std::to_string(edge.at.count() / 1000) + " ";
  return all;
}

GateCleaning settings(std::int64_t impossible_ns, std::int64_t dead_time_ns) {
  GateCleaning cleaning;
  cleaning.impossible = ns(impossible_ns);
  cleaning.dead_time = ns(dead_time_ns);
  return cleaning;
}

/// Everything in one take, and long after it.
std::string cleaned(GateCleaner& cleaner, const std::vector<Edge>& edges) {
  cleaner.take(edges, ns(1'000'000));
  return text(cleaner.ready());
}

TEST(GateCleaner, PassesCleanEdgesAsTheyAre) {
  GateCleaner cleaner(settings(500, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_UL), off(10'000, gate_UL), on(11'000, gate_UH)}),
            "UL+0 UL-10000 UH+11000 ");
  EXPECT_EQ(cleaner.counts().repaired, 0u);
  EXPECT_TRUE(cleaner.overlaps().empty());
}

// By hand: on at 10,000, off at 10,300: their middle is 10,150; a dead time of 1000 about it.
TEST(GateCleaner, MovesAnImpossibleOverlapApartByADeadTimeAboutItsMiddle) {
  GateCleaner cleaner(settings(500, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_UL), on(10'000, gate_UH), off(10'300, gate_UL)}),
            "UL+0 UL-9650 UH+10650 ");
  EXPECT_EQ(cleaner.counts().repaired, 1u);
  EXPECT_EQ(cleaner.counts().longest_repaired, ns(300));
  ASSERT_EQ(cleaner.overlaps().size(), 1u);
  EXPECT_TRUE(cleaner.overlaps()[0].repaired);
  EXPECT_EQ(cleaner.overlaps()[0].leg, 0);
  EXPECT_EQ(cleaner.overlaps()[0].length, ns(300));
}

TEST(GateCleaner, LongerOverlapsAreRealAndPass) {
  GateCleaner cleaner(settings(500, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_WL), on(10'000, gate_WH), off(10'501, gate_WL)}),
            "WL+0 WH+10000 WL-10501 ");
  EXPECT_EQ(cleaner.counts().repaired, 0u);
  EXPECT_EQ(cleaner.counts().real, 1u);
  EXPECT_EQ(cleaner.counts().longest_real, ns(501));
}

TEST(GateCleaner, APulseWhileTheOtherSwitchStaysOnIsReal) {
  GateCleaner cleaner(settings(500, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_VL), on(10'000, gate_VH), off(10'200, gate_VH)}),
            "VL+0 VH+10000 VH-10200 ");
  EXPECT_EQ(cleaner.counts().real, 1u);
}

TEST(GateCleaner, WithoutAToleranceNothingIsRepaired) {
  GateCleaner cleaner(settings(0, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_UL), on(10'000, gate_UH), off(10'001, gate_UL)}),
            "UL+0 UH+10000 UL-10001 ");
  EXPECT_EQ(cleaner.counts().real, 1u);
}

TEST(GateCleaner, ExchangeAtOneInstantSwitchesOffFirst) {
  GateCleaner cleaner(settings(500, 0));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_UL), on(10'000, gate_UH), off(10'000, gate_UL)}),
            "UL+0 UL-10000 UH+10000 ");
  EXPECT_EQ(cleaner.counts().repaired + cleaner.counts().real, 0u);
}

TEST(GateCleaner, RepairTurnsNoLineRound) {
  GateCleaner cleaner(settings(500, 1000));
  // The low pulse began 100 ns before the overlap: it cannot end 500 ns before its middle.
  EXPECT_EQ(cleaned(cleaner, {on(9'900, gate_UL), on(10'000, gate_UH), off(10'200, gate_UL),
                              off(10'400, gate_UH)}),
            "UL+9900 UL-9900 UH+10399 UH-10400 ");
}

TEST(GateCleaner, OverlapIsJudgedAcrossTwoReads) {
  GateCleaner cleaner(settings(500, 1000));
  cleaner.take(std::vector{on(0, gate_UL), on(10'000, gate_UH)}, ns(10'100));
  EXPECT_EQ(text(cleaner.ready()), "UL+0 ");
  // By hand: the repair may put a rise 250 + 500 later, and a fall 500 earlier.
  EXPECT_EQ(cleaner.settled(), ns(10'100 - 1'250));
  cleaner.take(std::vector{off(10'300, gate_UL)}, ns(20'000));
  EXPECT_EQ(text(cleaner.ready()), "UL-9650 UH+10650 ");
  EXPECT_EQ(cleaner.counts().repaired, 1u);
}

TEST(GateCleaner, NothingIsHandedOverBeforeItIsFinal) {
  GateCleaner cleaner(settings(500, 1000));
  cleaner.take(std::vector{on(9'500, gate_UL)}, ns(10'000));
  EXPECT_TRUE(cleaner.ready().empty());
  cleaner.take({}, ns(10'749));
  EXPECT_TRUE(cleaner.ready().empty());
  cleaner.take({}, ns(10'750));
  EXPECT_EQ(text(cleaner.ready()), "UL+9500 ");
}

TEST(GateCleaner, APulseThatEndsInTheNextReadIsNotTurnedRound) {
  GateCleaner cleaner(settings(200, 2000));
  cleaner.take(std::vector{on(0, gate_UL), on(10'000, gate_UH), off(10'100, gate_UL)}, ns(10'250));
  std::string all = text(cleaner.ready());
  cleaner.take(std::vector{off(10'300, gate_UH)}, ns(20'000));
  EXPECT_EQ(all + text(cleaner.ready()), "UL+0 UL-9050 UH+10299 UH-10300 ");
}

// By hand: UH comes 300 ns late, VL 200 ns early.
TEST(GateCleaner, TakesTheSkewOutAndOrdersAnew) {
  GateCleaning cleaning;
  cleaning.skew[io::index(gate_UH)] = ns(300);
  cleaning.skew[io::index(gate_VL)] = ns(-200);
  GateCleaner cleaner(cleaning);
  EXPECT_EQ(cleaner.hold(), ns(300));
  EXPECT_EQ(cleaned(cleaner, {on(1'000, gate_VL), on(1'100, gate_WL), on(1'350, gate_UH)}),
            "UH+1050 WL+1100 VL+1200 ");
}

TEST(GateCleaner, SkewThatLooksLikeAnOverlapIsNone) {
  GateCleaning cleaning = settings(500, 1000);
  cleaning.skew[io::index(gate_UL)] = ns(700);
  GateCleaner cleaner(cleaning);
  EXPECT_EQ(cleaned(cleaner, {on(700, gate_UL), on(10'000, gate_UH), off(10'200, gate_UL)}),
            "UL+0 UL-9500 UH+10000 ");
  EXPECT_EQ(cleaner.counts().repaired, 0u);
}

TEST(GateCleaner, LateEdgesAreCountedAndPutWhereThereIsRoom) {
  GateCleaner cleaner(settings(0, 0));
  cleaner.take(std::vector{on(9'000, gate_UH)}, ns(10'000));
  cleaner.take(std::vector{on(8'000, gate_VH)}, ns(20'000));
  EXPECT_EQ(text(cleaner.ready()), "VH+10000 ");
  EXPECT_EQ(cleaner.counts().late, 1u);
}

TEST(GateCleaner, OtherLinesKeepTheirPlace) {
  GateCleaner cleaner(settings(500, 1000));
  EXPECT_EQ(cleaned(cleaner, {on(0, gate_UL), on(10'000, gate_UH), on(10'100, contactor),
                              off(10'300, gate_UL)}),
            "UL+0 UL-9650 other+10100 UH+10650 ");
}

TEST(GateCleaner, RefusesWhatNoWireDoes) {
  EXPECT_THROW(GateCleaner(settings(10'001, 0)), std::invalid_argument);
  EXPECT_THROW(GateCleaner(settings(0, -1)), std::invalid_argument);
  GateCleaning cleaning;
  cleaning.skew[0] = ns(-10'001);
  EXPECT_THROW(GateCleaner{cleaning}, std::invalid_argument);
}

/// Reads of 200 us, as the cycle has them.
struct Passed {
  std::vector<Edge> edges;
  CleaningCounts counts;
};
Passed pass_all(const GateCleaning& cleaning, const std::vector<Edge>& edges) {
  GateCleaner cleaner(cleaning);
  Passed passed;
  std::size_t next = 0;
  for (Time known{0}; next < edges.size() || known < edges.back().at + ns(100'000);) {
    known += ns(200'000);
    const std::size_t first = next;
    while (next < edges.size() && edges[next].at <= known) ++next;
    cleaner.take({edges.data() + first, next - first}, known);
    for (const Edge& edge : cleaner.ready()) {
      EXPECT_LE(edge.at, cleaner.settled());
      passed.edges.push_back(edge);
    }
  }
  passed.counts = cleaner.counts();
  return passed;
}

// 1 us of jitter on 1 us of dead time: the two edges of an exchange lie 1 us apart, give or take
// 1.41 us, so 24 % of them overlap (normal distribution, -0.707), 0.2 % by more than 3 us (-2.83).
TEST(GateCleaner, JitterAboveTheDeadTimeLeavesNoOverlapAndLosesNoEdge) {
  const auto still = [](std::size_t, double) { return 0.5; };
  const auto edges = test::edges_of({.jitter_s = 1e-6, .seed = 11}, 4'000, still);
  const Passed passed = pass_all(settings(9'000, 1'000), edges);
  EXPECT_EQ(passed.edges.size(), edges.size());
  const double exchanges = 2.0 * 3.0 * 4'000.0;
  EXPECT_NEAR(static_cast<double>(passed.counts.repaired) / exchanges, 0.24, 0.01);
  EXPECT_EQ(passed.counts.real, 0u);
  std::map<io::LineId, Level> levels;
  Time last{0};
  for (const Edge& edge : passed.edges) {
    EXPECT_GE(edge.at, last);
    last = edge.at;
    EXPECT_NE(levels[edge.line], edge.level) << text({&edge, 1});  // rise and fall alternate
    levels[edge.line] = edge.level;
    for (std::size_t leg = 0; leg < 3; ++leg)
      EXPECT_FALSE(levels[test::gate(2 * leg)] == Level::high &&
                   levels[test::gate(2 * leg + 1)] == Level::high);
  }
  const Passed strict = pass_all(settings(3'000, 1'000), edges);
  EXPECT_NEAR(static_cast<double>(strict.counts.real) / exchanges, 0.002, 0.001);
  EXPECT_EQ(strict.edges.size(), edges.size());
}

TEST(GateCleaner, MoreThanItCanHoldPassesUnjudgedAndIsCounted) {
  GateCleaner cleaner(settings(500, 1000));
  std::vector<Edge> burst;
  for (int k = 0; k < 1024; ++k)
    burst.push_back(k % 2 == 0 ? on(1'000 + k, gate_UH) : off(1'000 + k, gate_UH));
  std::size_t passed = 0;
  for (int k = 0; k < 3; ++k) {
    cleaner.take(burst, ns(900));  // the reader claims to know less than it brings
    passed += cleaner.ready().size();
  }
  EXPECT_EQ(cleaner.counts().crowded, 1024u);
  EXPECT_EQ(passed, 1024u);
}

}  // namespace
}  // namespace stillrotor
