// The whole co-processor on a clock of the test's own: commands, silence, trip, reports.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/link/coprocessor/beside_plant.hpp"
#include "tests/io/link/coprocessor/host_port.hpp"

namespace stillrotor::io::coprocessor {
namespace {

constexpr std::uint32_t step = 125;  // 1 us

class CoprocessorTest : public ::testing::Test {
 protected:
  CoprocessorTest() {
    new_port();
    made_ = converted(mid_drive(), mid_format(step));
    const Scale& s = made_.scale;
    AngleOutputs outputs;
    outputs.encoder_lines = 256;
    outputs.word_bits = 14;
    const cp_angle_parameters angle = angle_parameters(outputs, 4, s);
    Timing timing;
    timing.settle_s = 0.0;
    timing.silence_s = 1e-3;
    timing.behind_s = 20e-6;
    p_ = core_parameters(made_, timing, angle, track_parameters(angle, s, 1e-6, 10.0),
                         trip_parameters(CP_TRIP_LINK, 60.0, 1e-6, made_),
                         {sense_channel({CP_SENSE_SHUNT_U, -0.02, 2.5, 5.0, 12}, s),
                          sense_channel({CP_SENSE_BUS, 0.04, 0.0, 5.0, 12}, s),
                          sense_channel({CP_SENSE_TOLD, 0.0, 0.85, 5.0, 12}, s)});
  }

  void start() { cp_start(&cp_, &p_); }
  void run(std::uint32_t steps) {
    for (std::uint32_t n = 0; n < steps; ++n) {
      port().now += step;
      cp_step(&cp_);
    }
  }
  std::uint32_t send(std::uint32_t kind, std::uint32_t at = 0) {
    cp_command c{};
    c.kind = kind;
    c.at = at;
    return cp_accept(&cp_, &c);
  }
  void arm() {
    send(CP_ARM, port().now);
    run(3);
  }
  void gates(std::uint32_t at, std::uint32_t all) { port().edges.push_back({at, all}); }
  cp_report last_report() {
    cp_report r{}, next{};
    while (cp_take_report(&cp_, &next)) r = next;
    return r;
  }
  int fault_edges() const {
    int n = 0;
    for (const auto& e : port().lines) n += e.line == CP_FAULT;
    return n;
  }

  Plant made_;
  cp_parameters p_{};
  cp_core cp_;
};

TEST_F(CoprocessorTest, StartsSafeAndShowsNothingUntilItIsArmed) {
  start();
  gates(500, CP_UH | CP_VL);
  run(100);
  EXPECT_FALSE(port().driven);
  EXPECT_EQ(port().codes[0], 2048U);
  send(CP_ALIVE);
  run(100);
  EXPECT_FALSE(port().driven);
  arm();
  EXPECT_TRUE(port().driven);
  EXPECT_EQ(port().driven_levels, cp_.motion.angle.levels);
}

TEST_F(CoprocessorTest, GoesSafeOnSilenceSaysSoAndComesBackOnlyWhenArmed) {
  start();
  arm();
  gates(port().now + 10, CP_UH | CP_VL);
  run(990);
  EXPECT_TRUE(port().driven);
  run(20);  // 1 ms after the last command
  EXPECT_FALSE(port().driven);
  EXPECT_EQ(port().codes[0], 2048U);
  last_report();
  run(200);
  EXPECT_EQ(last_report().safe, static_cast<std::uint32_t>(CP_SAFE_SILENCE));
  send(CP_ALIVE);
  send(CP_SUPPLY);
  run(50);
  EXPECT_FALSE(port().driven);
  arm();
  EXPECT_TRUE(port().driven);
}

TEST_F(CoprocessorTest, GoesSafeAtOnceWhenTold) {
  start();
  arm();
  send(CP_MAKE_SAFE, port().now + 1'000'000);
  EXPECT_FALSE(port().driven);
}

TEST_F(CoprocessorTest, GoesSafeWhenItFallsBehind) {
  start();
  arm();
  port().now += 30 * step;
  cp_step(&cp_);
  EXPECT_FALSE(port().driven);
  for (int n = 0; n < 200; ++n) cp_step(&cp_);
  run(200);
  const cp_report r = last_report();
  EXPECT_EQ(r.safe, static_cast<std::uint32_t>(CP_SAFE_BEHIND));
  EXPECT_GE(r.worst_lateness, 29 * step);
}

// The same two switches on the plant: when does the current out of the link reach 60 A?
TEST_F(CoprocessorTest, TripsWithinTwoMicrosecondsOfThePlantsCrossing) {
  plant::DriveParameters d = mid_drive();
  plant::Drive drive(d);
  drive.start({0.0, 0.0, 72.0});
  reference::hold_electrical(drive, 0.0);
  drive.set_switch(plant::Switch::UH, true);
  drive.set_switch(plant::Switch::VL, true);
  std::int64_t crossing_ps = 0;
  while (drive.snapshot().bridge_A < 60.0) drive.advance(crossing_ps += 10'000);
  const double crossing_s = 1e-12 * static_cast<double>(crossing_ps);

  start();
  arm();
  const std::uint32_t begin = port().now + 40;
  gates(begin, CP_UH | CP_VL);
  while (fault_edges() == 0 && port().now < 60000) run(1), send(CP_ALIVE);
  ASSERT_EQ(fault_edges(), 1);
  const cp_line_edge& fault = port().lines.back();
  const double due_s = (fault.at - begin) * made_.scale.tick_s;
  const double known_s = (port().handed_at.back() - begin) * made_.scale.tick_s;
  // 0.1 A at the slope of 0.15 A/us there: 0.6 us of the comparator's 1 us late or early at most.
  EXPECT_NEAR(due_s, crossing_s + 1e-6, 0.6e-6);
  EXPECT_LT(std::max(due_s, known_s), crossing_s + 2e-6);
  EXPECT_GT(due_s, crossing_s);
}

TEST_F(CoprocessorTest, DoesNotTripBelowTheLimit) {
  start();
  arm();
  gates(port().now, CP_UH | CP_VL);
  bool open = false;
  // To 59.3 A: a step's rise (0.3 A at most) and more below it.
  for (int n = 0; n < 1000; ++n) {
    run(1);
    send(CP_ALIVE);
    if (!open && cp_.plant.plant.link_i * made_.scale.ampere > 59.0) {
      gates(port().now, CP_UL | CP_VL);
      open = true;
    }
  }
  EXPECT_TRUE(open);
  EXPECT_EQ(fault_edges(), 0);
}

TEST_F(CoprocessorTest, TripsOnALegThatShortsTheBusAtOnce) {
  start();
  arm();
  const std::uint32_t at = port().now + 60;
  gates(at, CP_UH | CP_UL);
  run(1);
  ASSERT_EQ(fault_edges(), 1);
  EXPECT_EQ(port().lines.back().at, at + 125);  // the comparator's 1 us
  EXPECT_EQ(port().codes[0], 4095U);            // a shunt at its end; gain inverted
  run(100);
  EXPECT_NE(last_report().flags & CP_PLANT_SHOOT_THROUGH, 0U);
}

TEST_F(CoprocessorTest, ATripStaysUntilItIsCleared) {
  start();
  arm();
  gates(port().now, CP_UH | CP_UL);
  run(2);
  gates(port().now, 0);
  run(50);
  EXPECT_EQ(fault_edges(), 1);
  send(CP_CLEAR_TRIP, port().now);
  run(2);
  EXPECT_EQ(fault_edges(), 2);
  EXPECT_EQ(port().lines.back().high, 0U);
}

TEST_F(CoprocessorTest, AClearedTripTripsAgainWhileTheBusIsShorted) {
  start();
  arm();
  gates(port().now, CP_UH | CP_UL);
  run(2);
  send(CP_CLEAR_TRIP, port().now);
  run(2);
  EXPECT_EQ(fault_edges(), 3);
  EXPECT_EQ(port().lines.back().high, 1U);
}

// 72 V: code 72 * 0.04 * 4096 / 5 = 2359, less what rounding down takes. No current: 2.5 V.
TEST_F(CoprocessorTest, ShowsVoltageAndCurrentAsCodes) {
  start();
  arm();
  EXPECT_NEAR(port().codes[1], 2359, 1);
  EXPECT_EQ(port().codes[0], 2048U);
  gates(port().now, CP_UH | CP_VL);
  run(100);
  EXPECT_EQ(port().codes[0], 2048U);  // the low switch does not carry it
  gates(port().now, CP_UL | CP_VL);
  run(2);
  // -20 mV an ampere: 4096 / 5 * 0.02 = 16.4 codes an ampere, downward.
  const double i_U = cp_.plant.plant.i[0] * made_.scale.ampere;
  EXPECT_GT(i_U, 10.0);
  EXPECT_NEAR(port().codes[0], 2048.0 - 16.384 * i_U, 1.5);
}

// Safe: 0.85 V is code 696 of 4096 for 5 V. Told 2.5 V: 2048.
TEST_F(CoprocessorTest, ShowsAChannelAsItIsToldWhileItIsLiveOnly) {
  start();
  cp_command c{};
  c.kind = CP_TELL;
  c.u.tell = {2, told_code(p_.sense[2], 2.5, 5.0)};
  EXPECT_EQ(cp_accept(&cp_, &c), 1U);
  run(5);
  EXPECT_EQ(port().codes[2], 696U);
  arm();
  EXPECT_EQ(port().codes[2], 2048U);
  send(CP_MAKE_SAFE);
  run(2);
  EXPECT_EQ(port().codes[2], 696U);
}

TEST_F(CoprocessorTest, AToldChannelHoldsAtItsEnds) {
  EXPECT_EQ(p_.sense[2].offset + told_code(p_.sense[2], 7.0, 5.0), 4095);
  EXPECT_EQ(p_.sense[2].offset + told_code(p_.sense[2], -1.0, 5.0), 0);
}

TEST_F(CoprocessorTest, SwitchesSlowLinesAndRemembersThemWhileSafe) {
  start();
  cp_command c{};
  c.kind = CP_SWITCH;
  c.u.levels = CP_KEY | CP_HALL_U;  // Halls are not to be told
  cp_accept(&cp_, &c);
  run(5);
  arm();
  EXPECT_EQ(port().driven_levels & (CP_KEY | CP_BRAKE | CP_REVERSE),
            static_cast<std::uint32_t>(CP_KEY));
  EXPECT_EQ(port().driven_levels, cp_.motion.angle.levels | CP_KEY);
  c.u.levels = CP_KEY | CP_BRAKE;
  cp_accept(&cp_, &c);
  run(5);
  ASSERT_FALSE(port().lines.empty());
  EXPECT_EQ(port().lines.back().line, static_cast<std::uint32_t>(CP_BRAKE));
  EXPECT_EQ(port().lines.back().high, 1U);
}

TEST_F(CoprocessorTest, HandsLinesOverBeforeTheyAreDue) {
  start();
  cp_command c{};
  c.kind = CP_PIECE;
  c.u.piece = piece(made_.scale, {0.0, 400.0, 0.0}, step * 10);
  cp_accept(&cp_, &c);
  arm();
  for (int n = 0; n < 5000; ++n) run(1), send(CP_ALIVE);
  EXPECT_GT(port().lines.size(), 300U);
  for (std::size_t n = 0; n < port().lines.size(); ++n)
    ASSERT_GE(static_cast<std::int32_t>(port().lines[n].at - port().handed_at[n]), 0) << n;
}

TEST_F(CoprocessorTest, CommandsHoldFromTheirTickOn) {
  start();
  cp_command c = supply(made_.scale, 60.0, 50 * step);
  cp_accept(&cp_, &c);
  run(49);
  EXPECT_EQ(cp_.plant.plant.source_V, made_.scale.volts(72.0));
  run(2);
  EXPECT_EQ(cp_.plant.plant.source_V, made_.scale.volts(60.0));
}

TEST_F(CoprocessorTest, RefusesACommandForWhichThereIsNoRoom) {
  start();
  cp_command c = supply(made_.scale, 60.0, 1'000'000);
  for (int n = 0; n < CP_COMMANDS; ++n) EXPECT_EQ(cp_accept(&cp_, &c), 1U);
  EXPECT_EQ(cp_accept(&cp_, &c), 0U);
  run(100);
  EXPECT_EQ(last_report().refused_commands, 1U);
}

TEST_F(CoprocessorTest, CountsEdgesThatComeLateAndThoseNobodyFetches) {
  start();
  run(10);
  gates(port().now - 5 * step, CP_UL);
  run(1);
  for (std::uint32_t n = 0; n < CP_GATE_EDGES; ++n)
    gates(port().now + n * step, n % 2 ? CP_UL : CP_UL | CP_VL);
  run(300);
  const cp_report r = last_report();
  EXPECT_EQ(r.late_edges, 1U);
  EXPECT_EQ(r.unsent_edges, 1U);
  cp_gate_edge e;
  ASSERT_EQ(cp_take_gate_edge(&cp_, &e), 1U);
  EXPECT_EQ(e.gates, static_cast<std::uint32_t>(CP_UL));
}

TEST_F(CoprocessorTest, ReportsMeanCurrents) {
  start();
  gates(0, CP_UH | CP_VL | CP_WL);
  std::int64_t sum = 0;
  std::uint32_t steps = 0;
  for (std::uint32_t n = 0; n < 100; ++n) {
    run(1);
    sum += cp_.plant.plant.i[0];
    ++steps;
  }
  cp_report r{};
  ASSERT_EQ(cp_take_report(&cp_, &r), 1U);
  EXPECT_EQ(r.steps, 100U);
  EXPECT_EQ(r.sum_i[0], sum);
  EXPECT_GT(sum, 0);
  EXPECT_EQ(r.at, port().now);
}

TEST_F(CoprocessorTest, GoesOnWhenTheCounterWraps) {
  port().now = 0xffffff00U;
  start();
  arm();
  gates(port().now + 60, CP_UH | CP_VL);
  run(50);
  EXPECT_EQ(cp_.plant.tick, port().now);
  EXPECT_GT(cp_.plant.plant.i[0], 0);
  EXPECT_TRUE(port().driven);
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
