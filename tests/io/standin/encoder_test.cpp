// Incremental encoder: counting, index, speed; and the angle that Halls and encoder give together.
#include "io/standin/encoder.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "io/standin/rotor_angle.hpp"
#include "tests/io/support/scripted_motor.hpp"

namespace stillrotor::io::standin {
namespace {

constexpr double pi = 3.14159265358979323846;
constexpr Time us{1'000'000};

/// Turns a pair of channels by counts; A leads B forward.
struct Disc {
  Encoder encoder;
  std::int64_t count = 0;
  Time at{};
  Disc() { encoder.reset(false, false, at); }
  void step(int way) {
    count += way;
    at += 10 * us;
    const bool a = ((count % 4 + 4) % 4) == 1 || ((count % 4 + 4) % 4) == 2;
    const bool b = ((count % 4 + 4) % 4) == 2 || ((count % 4 + 4) % 4) == 3;
    encoder.set_a(a, at);
    encoder.set_b(b, at);
  }
};

TEST(Encoder, CountsFourALineForwardAndBack) {
  Disc d;
  for (int k = 0; k < 4 * 256; ++k) d.step(+1);
  EXPECT_EQ(d.encoder.count(), 1024);
  for (int k = 0; k < 3000; ++k) d.step(-1);
  EXPECT_EQ(d.encoder.count(), 1024 - 3000);
}

TEST(Encoder, DoesNotGainOrLoseCountsOnAJitteringEdge) {
  Disc d;
  std::mt19937 random{3};
  for (int k = 0; k < 100'000; ++k) d.step(random() % 2 ? 1 : -1);
  EXPECT_EQ(d.encoder.count(), d.count);
}

TEST(Encoder, SeesNoSpeedInAShaftThatTremblesOnOneEdge) {
  Disc d;
  for (int k = 0; k < 2000; ++k) {
    d.step(k % 2 ? -1 : 1);
    if (k % 5 == 0) d.encoder.update(d.at);
  }
  EXPECT_NEAR(d.encoder.counts_per_s(), 0.0, 1e-9);
}

// 10 us a count is 100,000 counts/s; after ten filter times of 2 ms the rest is e^-10 = 4.5e-5.
TEST(Encoder, MeasuresSpeedInBothDirections) {
  for (const int way : {+1, -1}) {
    Disc d;
    for (int k = 0; k < 2000; ++k) {
      d.step(way);
      if (k % 6 == 0) d.encoder.update(d.at);
    }
    EXPECT_NEAR(d.encoder.counts_per_s(), way * 1e5, 20.0);
  }
}

// With no edge for t the shaft turned less than a count: the speed is below 1 / t.
TEST(Encoder, ForgetsItsSpeedWhenEdgesStopComing) {
  Disc d;
  for (int k = 0; k < 2000; ++k) d.step(+1), d.encoder.update(d.at);
  d.encoder.update(d.at + 100'000 * us);
  EXPECT_LE(d.encoder.counts_per_s(), 10.0 + 1e-9);
}

// Whether Z or the channel edge of the same instant comes first must not move the index.
TEST(Encoder, FindsTheIndexWhicheverOfTwoSimultaneousEdgesComesFirst) {
  for (const bool z_first : {true, false}) {
    Disc d;
    for (int k = 0; k < 6; ++k) d.step(+1);
    if (z_first) d.encoder.set_z(true, d.at + 10 * us);
    d.step(+1);
    if (!z_first) d.encoder.set_z(true, d.at);
    EXPECT_FALSE(d.encoder.indexed());
    d.step(+1);
    EXPECT_TRUE(d.encoder.indexed());
    EXPECT_EQ(d.encoder.index_count(), 7);
    d.encoder.set_z(false, d.at);
    for (int k = 0; k < 5; ++k) d.step(+1);
    EXPECT_EQ(d.encoder.index_count(), 7);
  }
}

/// A controller that only watches the angle.
class Watcher final : public SimulatedController {
 public:
  explicit Watcher(const test::MotorScript& m)
      : angle(m.pole_pairs, m.encoder_lines, m.encoder_index_rad) {}
  void power(double, Time at, World& world) override {
    std::array<bool, line_count> levels{};
    for (std::uint16_t k = 0; k < line_count; ++k)
      levels[k] = world.level(LineId{k}, at) == Level::high;
    angle.reset(levels, true, at);
  }
  Time run(Time horizon) noexcept override { return horizon; }
  void deliver(const Edge& e) noexcept override {
    if (!is_gate(e.line) && index(e.line) <= index(line::encoder_Z)) angle.edge(e);
  }
  Health health() const noexcept override { return Health::running; }
  std::string_view diagnosis() const noexcept override { return {}; }
  RotorAngle angle;
};

double difference_deg(double a, double b) {
  return std::abs(std::remainder(a - b, 2.0 * pi)) * 180.0 / pi;
}

// 256 lines and 4 pole pairs: one count is 1.41 electrical degrees. A sector is 60 degrees wide, so
// its centre is at most 30 off; a Hall edge is seen exactly, but the encoder's place within its
// count is not known before its first edges: one count. From the index on only the filter's and the
// rounding's share is left, below a tenth of a count.
TEST(RotorAngle, GetsBetterFromSectorToHallEdgeToIndex) {
  for (const double speed : {+11.0, -11.0, +190.0, -190.0}) {
    test::MotorScript script{.omega_m_rad_s = speed, .encoder_index_rad = 1.0};
    test::ScriptedMotor motor{script};
    Watcher watcher{script};
    motor.power(watcher, 5.0);
    watcher.angle.update(motor.now());
    EXPECT_EQ(watcher.angle.known(), RotorAngle::Known::sector);
    RotorAngle::Known best = RotorAngle::Known::sector;
    const Time turn{static_cast<std::int64_t>(2.0 * pi / std::abs(speed) * 1e12)};
    for (int k = 1; k <= 2000; ++k) {
      motor.run(watcher, k * turn / 1000);
      watcher.angle.update(motor.now());
      ASSERT_GE(watcher.angle.known(), best);
      best = watcher.angle.known();
      const double off =
          difference_deg(watcher.angle.theta_e_rad(motor.now()), motor.theta_e_rad(motor.now()));
      const double allowed = best == RotorAngle::Known::sector      ? 30.1
                             : best == RotorAngle::Known::hall_edge ? 1.42
                             : k < 1500                             ? 1.42
                                                                    : 0.14;
      ASSERT_LE(off, allowed) << "speed " << speed << ", at " << k << ", known " << int(best);
    }
    EXPECT_EQ(best, RotorAngle::Known::index);
    EXPECT_NEAR(watcher.angle.omega_e_rad_s(), 4.0 * speed, 0.01 * std::abs(4.0 * speed));
  }
}

}  // namespace
}  // namespace stillrotor::io::standin
