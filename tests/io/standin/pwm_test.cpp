// Centre-aligned modulation: edge times, dead time, mean voltage.
#include "io/modulator.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "io/standin/current_control.hpp"

namespace stillrotor::io::standin {
namespace {

constexpr double frequency_Hz = 16e3, dead_time_s = 1e-6;
constexpr Time period{62'500'000}, dead_time{1'000'000};

/// Drives a modulator through periods and keeps all edges.
struct Bench {
  Modulator pwm{frequency_Hz, dead_time_s};
  std::vector<Edge> edges;
  Time at{};

  Bench() { pwm.reset(Time{0}); }
  void modes(LegMode mode) {
    for (int leg = 0; leg < 3; ++leg) pwm.set_mode(leg, mode, at);
  }
  void duty(double u, double v, double w) {
    pwm.set_duty(0, u), pwm.set_duty(1, v), pwm.set_duty(2, w);
  }
  void drain(Time until) {
    for (const Edge* e = pwm.next(); e != nullptr && e->at <= until; e = pwm.next()) {
      edges.push_back(*e);
      pwm.taken();
    }
  }
  void next_period() {
    pwm.begin_period(at);
    pwm.plan(at);
  }
  void run_period() {
    next_period();
    drain(at + period);
    at += period;
  }
};

/// Time in which the gate is high, from first edge to `until`.
double on_time_s(const std::vector<Edge>& edges, LineId gate, Time from, Time until) {
  Time since = from, sum{0};
  bool on = false;
  for (const Edge& e : edges) {
    if (e.line != gate) continue;
    const Time at = std::clamp(e.at, from, until);
    if (on) sum += at - since;
    on = e.level == Level::high;
    since = at;
  }
  if (on) sum += until - since;
  return 1e-12 * static_cast<double>(sum.count());
}

// By hand: 62.5 us period, duty 0.4 asks for 25 us centred at 31.25 us, that is 18.75 to 43.75 us;
// every switch turns on 1 us later than asked.
TEST(Modulator, CentresTheHighPulseAndDelaysEveryTurnOnByTheDeadTime) {
  Bench b;
  b.modes(LegMode::complementary);
  b.duty(0.4, 0.0, 0.0);
  b.run_period();
  const struct {
    std::int64_t ps;
    LineId line;
    Level level;
  } expected[] = {{1'000'000, line::gate_UL, Level::high},  {1'000'000, line::gate_VL, Level::high},
                  {1'000'000, line::gate_WL, Level::high},  {18'750'000, line::gate_UL, Level::low},
                  {19'750'000, line::gate_UH, Level::high}, {43'750'000, line::gate_UH, Level::low},
                  {44'750'000, line::gate_UL, Level::high}};
  ASSERT_EQ(b.edges.size(), std::size(expected));
  for (std::size_t k = 0; k < std::size(expected); ++k) {
    EXPECT_EQ(b.edges[k].at.count(), expected[k].ps) << k;
    EXPECT_EQ(b.edges[k].line, expected[k].line) << k;
    EXPECT_EQ(b.edges[k].level, expected[k].level) << k;
  }
}

// 100 kHz / 3 is 30,000,000.3 ps: rounded to an even number once, then added up exactly.
TEST(Modulator, KeepsItsPeriodWithoutDrift) {
  const Modulator third{100e3 / 3.0, dead_time_s};
  EXPECT_EQ(third.period().count(), 30'000'000);
  const Modulator odd{16'001.0, dead_time_s};  // 62,496,093.99 ps
  EXPECT_EQ(odd.period().count() % 2, 0);
  EXPECT_NEAR(static_cast<double>(odd.period().count()), 1e12 / 16'001.0, 1.0);
}

// Duties anywhere, modes changed at any moment: partners never overlap, and between one's turn-off
// and the other's turn-on lies the dead time at least; when the carrier itself swaps them, exactly.
TEST(Modulator, KeepsTheDeadTimeOverFuzzedDutiesAndModes) {
  std::mt19937 random{7};
  std::uniform_real_distribution<double> any{-0.1, 1.1};
  Bench b;
  b.modes(LegMode::complementary);
  for (int k = 0; k < 20'000; ++k) {
    if (k % 3 == 0) b.duty(any(random), any(random), any(random));
    if (k % 50 == 0) b.duty(k % 100 ? 1.0 : 0.0, 0.999, 0.001);
    b.next_period();
    if (k > 5000 && k % 2 == 0) {
      const Time when = b.at + Time{static_cast<std::int64_t>(random() % 62'500'000)};
      b.drain(when);
      b.pwm.set_mode(static_cast<int>(random() % 3), static_cast<LegMode>(random() % 4), when);
      b.pwm.plan(when);
    }
    b.drain(b.at + period);
    b.at += period;
  }
  std::array<Time, 6> off_at{};
  off_at.fill(-dead_time);
  std::array<bool, 6> on{};
  Time before{};
  int exact = 0;
  for (const Edge& e : b.edges) {
    const std::size_t gate = index(e.line), partner = gate ^ 1;
    ASSERT_GE(e.at, before);
    before = e.at;
    ASSERT_NE(on[gate], e.level == Level::high) << "an edge that changes nothing";
    on[gate] = e.level == Level::high;
    if (!on[gate]) {
      off_at[gate] = e.at;
      continue;
    }
    ASSERT_FALSE(on[partner]) << "overlap at " << e.at.count() << " ps";
    ASSERT_GE(e.at - off_at[partner], dead_time) << "at " << e.at.count() << " ps";
    exact += e.at - off_at[partner] == dead_time;
  }
  EXPECT_GT(exact, 40'000) << "the rule must have been met where it counts";
}

// 0.8 us asked of the high side, then 0.8 us of the low side: both shorter than 1 us.
TEST(Modulator, DropsPulsesShorterThanTheDeadTime) {
  Bench b;
  b.modes(LegMode::complementary);
  b.duty(0.8 / 62.5, 1.0 - 0.8 / 62.5, 0.5);
  for (int k = 0; k < 10; ++k) b.run_period();
  for (const Edge& e : b.edges) {
    EXPECT_NE(e.line, line::gate_UH);
    // VL rises once, in the first dead time of all; never again.
    EXPECT_TRUE(e.line != line::gate_VL || e.at < period);
  }
}

TEST(Modulator, StaysFullyOnAndFullyOffWithoutEdges) {
  Bench b;
  b.modes(LegMode::complementary);
  b.duty(1.0, 0.0, 1.0);
  b.run_period();
  const std::size_t first = b.edges.size();
  for (int k = 0; k < 100; ++k) b.run_period();
  EXPECT_EQ(b.edges.size(), first);
}

TEST(Modulator, LeavesTheLowSwitchOffWhenOnlyTheHighSideIsChopped) {
  Bench b;
  b.modes(LegMode::chopped_high);
  b.duty(0.5, 0.5, 0.5);
  for (int k = 0; k < 10; ++k) b.run_period();
  EXPECT_EQ(b.edges.size(), 60u);
  for (const Edge& e : b.edges) EXPECT_EQ(index(e.line) % 2, 0u);
}

TEST(Modulator, TurnsEverythingOffAtOnceInTheMiddleOfAPeriod) {
  Bench b;
  b.modes(LegMode::complementary);
  b.duty(0.5, 0.2, 0.8);
  b.run_period();
  b.next_period();
  const Time when = b.at + Time{30'000'001};
  b.drain(when);
  b.modes(LegMode::off);
  for (int leg = 0; leg < 3; ++leg) b.pwm.set_mode(leg, LegMode::off, when);
  b.pwm.plan(when);
  b.drain(when);
  EXPECT_TRUE(b.pwm.all_off());
  EXPECT_EQ(b.pwm.next(), nullptr);
}

// The mean that a leg is short of by its dead time, i > 0 out of the leg: t_d / T, here 1.6 %.
TEST(Modulator, LosesTheDeadTimesShareOfTheHighSide) {
  Bench b;
  b.modes(LegMode::complementary);
  b.duty(0.3, 0.5, 0.7);
  for (int k = 0; k < 100; ++k) b.run_period();
  const double share = on_time_s(b.edges, line::gate_VH, Time{0}, b.at) / (100.0 * 62.5e-6);
  EXPECT_NEAR(share, 0.5 - 1.0 / 62.5, 1e-9);
}

/// Largest sine whose duties stay within 0 to 1, as a share of the bus: by bisection on a turn.
double largest_sine(double bus_V) {
  double fits = 0.0, too_large = bus_V;
  while (too_large - fits > 1e-9 * bus_V) {
    const double amplitude = 0.5 * (fits + too_large);
    bool inside = true;
    for (int k = 0; k < 3600; ++k) {
      const double a = k * pi / 1800.0;
      const ThreePhases d = duties({amplitude * std::cos(a), amplitude * std::sin(a)}, bus_V);
      for (const double x : {d.u, d.v, d.w}) inside = inside && x >= -1e-12 && x <= 1.0 + 1e-12;
    }
    (inside ? fits : too_large) = amplitude;
  }
  return fits;
}

/// Every edge of the plan, driven.
std::vector<Edge> planned(Modulator& pwm, Time now) {
  std::vector<Edge> edges;
  pwm.plan(now);
  for (; pwm.next() != nullptr; pwm.taken()) edges.push_back(*pwm.next());
  return edges;
}

// The usual period has a way of its own; asked a picosecond into the period, before any edge, the
// modulator goes the general way. Duties lie on a coarse grid and next to it, so that edges of
// different legs often fall on one instant, and pulses are often shorter than the dead time.
// Periods with something to do within that first picosecond cannot be compared.
TEST(Modulator, PlansTheUsualPeriodAsItPlansAnyOther) {
  std::mt19937 random(7);
  std::uniform_int_distribution<int> share(0, 40), beside(-1, 1);
  int twelve = 0, fewer = 0;
  for (const double dead_s : {0.0, 1e-6, 0.78125e-6}) {  // the last: 1/40 of half a period
    Modulator usual{frequency_Hz, dead_s}, general{frequency_Hz, dead_s};
    for (Modulator* pwm : {&usual, &general}) {
      pwm->reset(Time{0});
      for (int leg = 0; leg < 3; ++leg) pwm->set_mode(leg, LegMode::complementary, Time{0});
    }
    Time at{0};
    for (int k = 0; k < 3000; ++k, at += period) {
      for (int leg = 0; leg < 3; ++leg) {
        const double duty = share(random) / 40.0 + beside(random) * 32e-9;
        usual.set_duty(leg, duty);
        general.set_duty(leg, duty);
      }
      usual.begin_period(at);
      general.begin_period(at);
      const auto edges = planned(usual, at), expected = planned(general, at + Time{1});
      if (edges.empty() || edges.front().at <= at + Time{1}) continue;
      ++(edges.size() == 12 ? twelve : fewer);
      ASSERT_EQ(edges.size(), expected.size()) << k;
      for (std::size_t e = 0; e < edges.size(); ++e) {
        ASSERT_EQ(edges[e].at, expected[e].at) << k;
        ASSERT_EQ(edges[e].line, expected[e].line) << k;
        ASSERT_EQ(edges[e].level, expected[e].level) << k;
      }
    }
  }
  EXPECT_GT(twelve, 3000);  // of 9000, whole periods of twelve edges: most are
  EXPECT_GT(fewer, 300);
}

// Linear limit of space-vector modulation: bus / sqrt 3 (textbook, from memory).
// Tolerance: the turn is walked in 0.1 degree steps that hit 30 degrees exactly, so bisection only.
TEST(SpaceVector, ReachesBusOverSquareRootOfThree) {
  EXPECT_NEAR(largest_sine(48.0) / 48.0, 1.0 / std::sqrt(3.0), 1e-8);
}

// The edges themselves, without dead time, at that limit: the mean over each period of the line
// voltage U-V is sqrt 3 * amplitude * cos(angle + 30 deg). Tolerance: on-times are even
// picoseconds.
TEST(SpaceVector, GivesTheAskedLineVoltageInTheMeanOfEveryPeriod) {
  constexpr double bus_V = 48.0;
  for (int k = 0; k < 360; k += 7) {
    const double a = k * pi / 180.0, amplitude = bus_V / std::sqrt(3.0);
    Modulator pwm{frequency_Hz, 0.0};
    pwm.reset(Time{0});
    for (int leg = 0; leg < 3; ++leg) pwm.set_mode(leg, LegMode::complementary, Time{0});
    const ThreePhases d = duties({amplitude * std::cos(a), amplitude * std::sin(a)}, bus_V);
    pwm.set_duty(0, d.u), pwm.set_duty(1, d.v), pwm.set_duty(2, d.w);
    std::vector<Edge> edges;
    pwm.begin_period(Time{0});
    pwm.plan(Time{0});
    for (; pwm.next() != nullptr; pwm.taken()) edges.push_back(*pwm.next());
    const double mean_V = bus_V / 62.5e-6 *
                          (on_time_s(edges, line::gate_UH, Time{0}, period) -
                           on_time_s(edges, line::gate_VH, Time{0}, period));
    EXPECT_NEAR(mean_V, bus_V * std::cos(a + pi / 6.0), 1e-5) << k << " deg";
  }
}

}  // namespace
}  // namespace stillrotor::io::standin
