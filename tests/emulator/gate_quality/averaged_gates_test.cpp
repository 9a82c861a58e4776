// Shares of a period become pulses centred in it.
#include "emulator/gate_quality/averaged_gates.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>

#include "tests/emulator/gate_quality/pwm_edges.hpp"

namespace stillrotor {
namespace {

using io::Edge;
using io::Level;
using io::Time;
using namespace io::line;

constexpr Time us(std::int64_t n) { return Time{1'000'000 * n}; }

std::string text(std::span<const Edge> edges) {
  static const char* names[] = {"UH", "UL", "VH", "VL", "WH", "WL"};
  std::string all;
  for (const Edge& edge : edges)
    all += (io::is_gate(edge.line) ? names[io::index(edge.line)] : "other") +
           std::string(edge.level == Level::high ? "+" : "-") +
           std::to_string(edge.at.count() / 1'000'000) + " ";
  return all;
}

// By hand, period 100 us, high 40 %, low 50 %: low to 25, high 30 to 70, low from 75.
TEST(AveragedGates, PutsTheHighPulseInTheMiddleAndTheLowOnesAtTheEnds) {
  AveragedGates gates(us(100));
  gates.take(GateShares{0.4, 0.5, 0, 0, 0, 0}, us(99));
  EXPECT_EQ(text(gates.ready()), "UL+0 UL-25 UH+30 UH-70 UL+75 ");
  EXPECT_EQ(gates.settled(), us(100));
  gates.take(GateShares{0.4, 0.5, 0, 0, 0, 0}, us(199));
  EXPECT_EQ(text(gates.ready()), "UL-125 UH+130 UH-170 UL+175 ");  // the low switch was on already
}

TEST(AveragedGates, WholeAndEmptySharesLeaveNoEdges) {
  AveragedGates gates(us(100));
  gates.take(GateShares{1, 0, 0, 1, 0, 0}, us(150));
  EXPECT_EQ(text(gates.ready()), "UH+0 VL+0 ");
  gates.take(GateShares{0, 1, 1, 0, 0, 0}, us(250));
  EXPECT_EQ(text(gates.ready()), "UH-200 UL+200 VL-200 VH+200 ");
  gates.take(GateShares{}, us(350));
  EXPECT_EQ(text(gates.ready()), "UL-300 VH-300 ");
}

// By hand: high on 10 to 30 us and 80 to 100 us of the first period: 40 %; low on 40 to 70: 30 %.
TEST(AveragedGates, CountsSharesFromStampsPeriodByPeriod) {
  AveragedGates gates(us(100));
  const std::vector<Edge> edges{{us(10), gate_UH, Level::high},
                                {us(30), gate_UH, Level::low},
                                {us(40), gate_UL, Level::high},
                                {us(70), gate_UL, Level::low},
                                {us(80), gate_UH, Level::high}};
  gates.take(edges, us(99));
  EXPECT_TRUE(gates.ready().empty());
  EXPECT_EQ(gates.settled(), us(0));
  gates.take(std::span<const Edge>{}, us(250));
  EXPECT_EQ(text(gates.ready()), "UL+0 UL-15 UH+30 UH-70 UL+85 UL-100 UH+100 ");
  EXPECT_EQ(gates.settled(), us(200));
}

// Periods and pulses of odd picoseconds have no middle; tolerance two of them.
TEST(AveragedGates, KeepsEveryShareToThePicosecondAndNeverOverlaps) {
  for (const std::int64_t period_ps : {99'999'999, 100'000'000})
    for (std::int64_t high_ps = 0; high_ps <= period_ps; high_ps += 99'991) {
      AveragedGates gates(Time{period_ps});
      const double high = static_cast<double>(high_ps) / static_cast<double>(period_ps);
      gates.take(GateShares{high, 1.0 - high, 0, 0, 0, 0}, Time{0});
      Time since{}, high_for{}, low_for{};
      bool high_on = false, low_on = false;
      const auto pass = [&](Time at) {
        (high_on ? high_for : low_for) += (high_on || low_on) ? at - since : Time{0};
        since = at;
      };
      for (const Edge& edge : gates.ready()) {
        pass(edge.at);
        (edge.line == gate_UH ? high_on : low_on) = edge.level == Level::high;
        ASSERT_FALSE(high_on && low_on) << high_ps;
      }
      pass(Time{period_ps});
      ASSERT_EQ(high_for.count(), high_ps);
      ASSERT_NEAR(static_cast<double>(low_for.count() + high_ps - period_ps), 0.0, 2.0);
    }
}

TEST(AveragedGates, OverlapsGoToTheHighSwitch) {
  AveragedGates gates(us(100));
  gates.take(GateShares{0.6, 0.6, 0, 0, 0, 0}, us(50));
  EXPECT_EQ(text(gates.ready()), "UL+0 UL-20 UH+20 UH-80 UL+80 ");
}

TEST(AveragedGates, OtherLinesPassAtTheirTime) {
  AveragedGates gates(us(100));
  gates.take(std::vector<Edge>{{us(0), gate_UH, Level::high},
                               {us(20), contactor, Level::high},
                               {us(50), gate_UH, Level::low}},
             us(100));
  EXPECT_EQ(text(gates.ready()), "other+20 UH+25 UH-75 ");
}

// Jitter of 1 us moves a share of 50 us by 1.4 us / 50 us at most times; over 4000 periods the mean
// stays within 0.0282 / sqrt(4000) = 0.0004, three sigma.
TEST(AveragedGates, MeanDutySurvivesJitterAboveTheDeadTime) {
  const auto still = [](std::size_t, double) { return 0.6; };
  AveragedGates gates(us(50));
  Time on_for{}, since{};
  bool on = false;
  const auto edges = test::edges_of({.jitter_s = 1e-6, .seed = 2}, 4'000, still);
  for (const Edge& edge : edges) {
    gates.take({&edge, 1}, edge.at);
    for (const Edge& out : gates.ready()) {
      if (out.line != gate_UH) continue;
      if (on) on_for += out.at - since;
      on = out.level == Level::high;
      since = out.at;
    }
  }
  const double share = 1e-12 * static_cast<double>(on_for.count()) / (3'999 * 50e-6);
  EXPECT_NEAR(share, 0.6 - 1.0 / 50.0, 0.0015);  // less a dead time
  EXPECT_EQ(gates.dropped(), 0u);
}

TEST(AveragedGates, FilteredVoltsBecomeShares) {
  EXPECT_DOUBLE_EQ(share_of(1.65, 0.0, 3.3), 0.5);
  EXPECT_DOUBLE_EQ(share_of(0.5, 4.5, 0.5), 1.0);  // active low
  EXPECT_DOUBLE_EQ(share_of(-0.2, 0.0, 3.3), 0.0);
  EXPECT_DOUBLE_EQ(share_of(NAN, 0.0, 3.3), 0.0);
  const GateShares shares = complementary(0.25, 0.5, 1.0);
  EXPECT_EQ(shares, (GateShares{0.25, 0.75, 0.5, 0.5, 1.0, 0.0}));
}

TEST(AveragedGates, SayWhatTheyLose) {
  EXPECT_EQ(AveragedGates(us(50)).text(),
            "over 50 us: pulses stand centred in their period; dead times, and which diode led "
            "when, are not in them");
  EXPECT_THROW(AveragedGates(Time{999'999}), std::invalid_argument);
}

}  // namespace
}  // namespace stillrotor
