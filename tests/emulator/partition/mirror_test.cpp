// The mirror by itself: reports made up here, no chip and no link.
#include "emulator/partition/mirror.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>
#include <string_view>

#include "emulator/partition/link_settings.hpp"
#include "tests/emulator/virtual_time/support.hpp"
#include "tests/support/allocations.hpp"

namespace stillrotor {
namespace {

using test::ms;
using test::us;

constexpr std::int64_t armed_ns = 7'000'000'000;

io::LinkConfig chip() {
  io::LinkConfig c;
  c.step_s = 1e-6;
  return c;
}

/// Of the mid bench, one mass without friction that the tests turn as they like.
class MirrorTest : public ::testing::Test {
 protected:
  explicit MirrorTest(double coulomb_Nm = 0.0) {
    for (auto& line : bench.harness.lines) line.connected = false;
    bench.harness.channels.fill(false);
    bench.drive.shaft = {.inertia_kg_m2 = 0.01, .coulomb_friction_Nm = coulomb_Nm};
    bench.drive.phase_current.polarity = 1.0;
    scenario.lasts_ps = 1000 * ms;
  }
  void build() {
    settings = link_settings(bench, chip());
    world.emplace(bench, scenario, GivenMotion{}, sink);
    mirror.emplace(bench, settings, *world);
    world->begin();
  }
  io::LinkReport report(std::int64_t at_ps, double i_U, double i_V) const {
    const plant::Snapshot s = world->plant().snapshot();
    io::LinkReport r;
    r.at_ns = armed_ns + at_ps / 1000;
    r.end_A[0] = i_U;
    r.end_A[1] = i_V;
    r.bus_V = s.bus_V;
    r.theta_at_ns = r.at_ns + 2000;
    // Where the rotor will be, from now.
    const double T = 1e-12 * static_cast<double>(at_ps - world->now_ps()) + 2e-6;
    r.theta_m_rad = std::remainder(s.theta_m_rad + T * s.omega_m_rad_s, plant::two_pi);
    return r;
  }
  /// Means of a current across the magnets, as the rotor stands in the middle.
  io::LinkReport with_means(std::int64_t at_ps, double i_q) const {
    io::LinkReport r = report(at_ps, 0.0, 0.0);
    r.lasts_s = 1e-3;
    const plant::Snapshot s = world->plant().snapshot();
    const double middle_s = 1e-12 * static_cast<double>(at_ps - world->now_ps()) - 0.5e-3;
    const double theta_e = 4.0 * (s.theta_m_rad + s.omega_m_rad_s * middle_s);
    const plant::Phases i =
        plant::phases(plant::unpark({0.0, i_q}, std::cos(theta_e), std::sin(theta_e)));
    r.mean_A[0] = i.U;
    r.mean_A[1] = i.V;
    return r;
  }
  void to(std::int64_t ps) { world->advance(ps); }

  Bench bench = test::mid_bench();
  Scenario scenario;
  io::LinkSettings settings;
  test::KeepingSink sink;
  std::optional<BenchWorld> world;
  std::optional<Mirror> mirror;
};

TEST_F(MirrorTest, TakesOverTheChipsCurrentsAtTheReportsEnd) {
  // The low switches of all legs carry what the chip says, whatever the mirror thought.
  for (const auto line : {io::line::gate_UL, io::line::gate_VL, io::line::gate_WL})
    bench.harness.lines[io::index(line)].connected = true;
  build();
  mirror->arm(armed_ns);
  EXPECT_EQ(mirror->due_ps(), Mirror::never_ps);
  for (const auto line : {io::line::gate_UL, io::line::gate_VL, io::line::gate_WL})
    world->drive({io::Time(0), line, io::Level::high});
  mirror->take(report(2 * ms, 0.1, -0.05));
  ASSERT_EQ(mirror->due_ps(), 2 * ms);
  to(2 * ms);
  const Mirror::Correction done = mirror->correct();
  EXPECT_EQ(done.distrust, nullptr);
  EXPECT_EQ(done.from_ps, 0);
  EXPECT_EQ(done.to_ps, 2 * ms);
  EXPECT_EQ(mirror->due_ps(), Mirror::never_ps);
  EXPECT_NEAR(world->plant().snapshot().current_A.U, 0.1, 1e-12);
  EXPECT_NEAR(world->plant().snapshot().current_A.V, -0.05, 1e-12);
  EXPECT_EQ(mirror->report().corrections, 1U);
  EXPECT_NEAR(mirror->report().worst_A, 0.1, 1e-9);
}

TEST_F(MirrorTest, DistrustsCurrentsThatNoChipWithThisBenchCanHave) {
  build();
  mirror->arm(armed_ns);
  mirror->take(report(1 * ms, 0.0, 0.0));
  mirror->take(report(2 * ms, 5.0, -5.0));
  to(1 * ms);
  EXPECT_EQ(mirror->correct().distrust, nullptr);
  to(2 * ms);
  const Mirror::Correction done = mirror->correct();
  ASSERT_NE(done.distrust, nullptr);
  EXPECT_EQ(std::string_view(done.distrust), "co-processor's currents differ");
  EXPECT_EQ(done.from_ps, 1 * ms);
  EXPECT_EQ(done.to_ps, 2 * ms);
  EXPECT_EQ(mirror->report().distrusted, 1U);
}

TEST_F(MirrorTest, DistrustsAnotherBusAndAnotherAngle) {
  build();
  mirror->arm(armed_ns);
  io::LinkReport bus = report(1 * ms, 0.0, 0.0), angle = report(2 * ms, 0.0, 0.0);
  bus.bus_V -= 1.0;
  angle.theta_m_rad += 3e-3;  // 0.7 electrical degrees
  mirror->take(bus);
  mirror->take(angle);
  to(1 * ms);
  const char* first = mirror->correct().distrust;
  ASSERT_NE(first, nullptr);
  EXPECT_EQ(std::string_view(first), "co-processor's bus differs");
  to(2 * ms);
  const char* second = mirror->correct().distrust;
  ASSERT_NE(second, nullptr);
  EXPECT_EQ(std::string_view(second), "co-processor's angle differs");
  EXPECT_NEAR(mirror->report().worst_angle_rad, 3e-3, 1e-9);
}

TEST_F(MirrorTest, CountsReportsThatCameTooLateAndDropsThoseOfBefore) {
  build();
  mirror->take(report(1 * ms, 0.0, 0.0));
  EXPECT_EQ(mirror->report().missed, 0U);
  mirror->arm(armed_ns);
  mirror->take(report(-1 * ms, 0.0, 0.0));
  EXPECT_EQ(mirror->report().missed, 0U);
  EXPECT_EQ(mirror->due_ps(), Mirror::never_ps);
  to(3 * ms);
  mirror->take(report(2 * ms, 0.0, 0.0));
  EXPECT_EQ(mirror->report().missed, 1U);
  EXPECT_EQ(mirror->due_ps(), Mirror::never_ps);
  for (int k = 0; k < 70; ++k) mirror->take(report((4 + k) * ms, 0.0, 0.0));
  EXPECT_EQ(mirror->report().missed, 7U);
}

TEST_F(MirrorTest, SendsTheStartUntilItIsArmed) {
  scenario.start.speed_rad_s = 50.0;
  scenario.start.angle_rad = 0.4;
  build();
  const io::Ahead a = mirror->predict(123);
  EXPECT_EQ(a.at_ns, 123);
  EXPECT_NEAR(a.motion.theta_m_rad, 0.4, 1e-12);
  EXPECT_EQ(a.motion.omega_m_rad_s, 0.0);
  EXPECT_NEAR(a.source_V, 72.0, 1e-12);
  EXPECT_NEAR(a.resistance_ohm, 0.03 + 4e-3, 1e-12);
  EXPECT_NEAR(a.flux_ratio, 1.0, 1e-12);
}

// 2 N m on 0.01 kg m^2 without anything else: 200 rad/s^2, so 7 ms ahead the speed is 1.4 rad/s and
// the angle 200 T^2 / 2 on; all legs are off and rest, as 10 rad/s give less than a volt.
TEST_F(MirrorTest, SendsAngleAndSpeedAsTheyWillBe) {
  scenario.timeline = {test::action(0, ActionKind::load_torque, -2.0)};
  build();
  mirror->arm(armed_ns);
  for (int k = 1; k <= 20; ++k) {
    to(k * ms);
    mirror->predict(armed_ns);
  }
  const io::Ahead a = mirror->predict(armed_ns + 27'000'000);
  EXPECT_NEAR(a.motion.alpha_rad_s2, 200.0, 1e-6);
  EXPECT_NEAR(a.motion.omega_m_rad_s, 200.0 * 27e-3, 1e-9);
  EXPECT_NEAR(a.motion.theta_m_rad, 100.0 * 27e-3 * 27e-3, 1e-9);
}

// 20 rad/s; reports up to now without current, then 3 ms ahead of the mirror one with 10 A across
// the magnets: 1.5 * 4 * 30 mWb * 10 A = 1.8 N m, 180 rad/s^2, for the 1 ms that it lasts and from
// then on. The mean over a millisecond is cos(0) to 0.03 %: x = 4 * 20 * 0.5 ms = 0.04, sin x / x.
TEST_F(MirrorTest, ForeseesWhatATorqueDoesThatOnlyTheReportsKnow) {
  scenario.start.speed_rad_s = 20.0;
  build();
  mirror->arm(armed_ns);
  for (int k = 1; k <= 5; ++k) mirror->take(with_means(k * ms, 0.0));
  for (int k = 1; k <= 5; ++k) {
    to(k * ms);
    mirror->correct();
  }
  const double theta = world->plant().snapshot().theta_m_rad;
  mirror->take(with_means(6 * ms, 0.0));
  mirror->take(with_means(7 * ms, 0.0));
  mirror->take(with_means(8 * ms, 10.0));
  const io::Ahead a = mirror->predict(armed_ns + 12'000'000);
  const double alpha = 180.0 * (0.04 / std::sin(0.04));
  EXPECT_NEAR(a.motion.alpha_rad_s2, alpha, 0.01);
  EXPECT_NEAR(a.motion.omega_m_rad_s, 20.0 + alpha * 5e-3, 1e-4);
  EXPECT_NEAR(a.motion.theta_m_rad, theta + 20.0 * 7e-3 + 0.5 * alpha * 25e-6, 1e-6);
}

// The same for a dynamometer, which does not care.
TEST_F(MirrorTest, ForeseesNoTorqueWhereADynamometerHoldsTheSpeed) {
  bench.drive.shaft.hold = plant::Hold::start_speed;
  scenario.start.speed_rad_s = 20.0;
  build();
  mirror->arm(armed_ns);
  mirror->take(with_means(1 * ms, 0.0));
  to(1 * ms);
  mirror->correct();
  mirror->take(with_means(2 * ms, 10.0));
  EXPECT_NEAR(mirror->predict(armed_ns + 9'000'000).motion.omega_m_rad_s, 20.0, 1e-9);
}

TEST_F(MirrorTest, ForeseesASupplyThatMoves) {
  scenario.timeline = {test::action(0, ActionKind::supply_voltage, 62.0, 100 * ms)};
  build();
  mirror->arm(armed_ns);
  to(10 * ms);
  // 100 V/s: at 17 ms 1.7 V less.
  EXPECT_NEAR(mirror->predict(armed_ns + 17'000'000).source_V, 72.0 - 1.7, 1e-9);
}

class MirrorWithFriction : public MirrorTest {
 protected:
  MirrorWithFriction() : MirrorTest(2.0) {}
};

// 2 N m of friction on 0.01 kg m^2 stop 1 rad/s within 5 ms, at 2.5 mrad.
TEST_F(MirrorWithFriction, LetsARotorThatComesToRestOnTheWayStayThere) {
  scenario.start.speed_rad_s = 1.0;
  build();
  mirror->arm(armed_ns);
  for (int k = 1; k <= 10; ++k) {
    to(k * 400 * us);
    const io::Ahead a = mirror->predict(armed_ns + 20'000'000);
    if (k < 3) continue;  // it has seen too little of it
    EXPECT_NEAR(a.motion.theta_m_rad, 2.5e-3, 1e-6) << k;
    EXPECT_EQ(a.motion.omega_m_rad_s, 0.0);
    EXPECT_EQ(a.motion.alpha_rad_s2, 0.0);
  }
  to(6 * ms);  // it stands, though its speed of 2 ms ago says otherwise
  const io::Ahead a = mirror->predict(armed_ns + 20'000'000);
  EXPECT_NEAR(a.motion.theta_m_rad, 2.5e-3, 1e-6);
  EXPECT_EQ(a.motion.omega_m_rad_s, 0.0);
}

TEST_F(MirrorTest, AllocatesNothing) {
  build();
  mirror->arm(armed_ns);
  for (int k = 1; k <= 5; ++k) {
    const io::LinkReport r = report(k * ms, 0.0, 0.0);
    const std::uint64_t first = allocations();
    mirror->take(r);
    EXPECT_EQ(allocations(), first);
    to(k * ms);
    const std::uint64_t before = allocations();
    mirror->correct();
    mirror->predict(armed_ns + (k + 7) * 1'000'000);
    EXPECT_EQ(allocations(), before);
  }
}

}  // namespace
}  // namespace stillrotor
