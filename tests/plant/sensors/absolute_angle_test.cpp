// The absolute angle sensor clocked bit by bit, and its pulse in time.
#include "plant/sensors/absolute_angle.hpp"

#include <gtest/gtest.h>

#include <string>

#include "plant/frames.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000, ns = 1000;

/// Stands where the 12-bit code is the given one, in the middle of its step.
AbsoluteAngle::Shaft at_code(int code, int bits = 12, double omega = 0.0) {
  return {two_pi * (code + 0.5) / (1 << bits), omega};
}

/// A controller that clocks at 1 MHz and looks at the line just before each edge.
struct Clocking {
  AbsoluteAngle sensor;
  AbsoluteAngle::Shaft shaft;
  AbsoluteAngleState s{};
  std::int64_t now_ps = 0;

  Clocking(const AbsoluteAngleParameters& par, AbsoluteAngle::Shaft where)
      : sensor(par, 1), shaft(where) {
    sensor.start(s, shaft, 0);
  }
  void wait(std::int64_t ps) {
    const std::int64_t end = now_ps + ps;
    while (s.next_ps <= end) {
      const bool before = s.high;
      sensor.pass(s, shaft);
      EXPECT_NE(s.high, before) << "an edge that is none";
    }
    now_ps = end;
  }
  bool clock(bool high) {
    wait(500 * ns);
    const bool seen = s.high;
    sensor.set_clock(s, high, shaft, now_ps);
    return seen;
  }
  void select(bool on) {
    wait(500 * ns);
    sensor.set_selected(s, on, shaft, now_ps);
  }
  /// SSI: falling first; the master takes a bit at the falling edge after the rise that brought it.
  std::string ssi(int bits) {
    std::string out;
    clock(false);
    for (int n = 0; n < bits; ++n) {
      clock(true);
      out += clock(false) ? '1' : '0';
    }
    clock(true);
    return out;
  }
  /// SPI mode 1: taken at the falling edge.
  std::string spi(int bits) {
    std::string out;
    select(true);
    for (int n = 0; n < bits; ++n) {
      clock(true);
      out += clock(false) ? '1' : '0';
    }
    select(false);
    return out;
  }
};

AbsoluteAngleParameters ssi() {
  AbsoluteAngleParameters par;
  par.output = AngleOutput::ssi;
  par.ssi.gray = false;
  return par;
}

// 0xA5B = 1010 0101 1011.
TEST(SsiSensor, AnswersMostSignificantBitFirst) {
  Clocking c(ssi(), at_code(0xA5B));
  c.sensor.set_clock(c.s, true, c.shaft, 0);  // a clock that rises to its idle level starts nothing
  EXPECT_TRUE(c.s.high);
  EXPECT_EQ(c.ssi(12), "101001011011");
}

TEST(SsiSensor, TakesTheAngleAtTheFirstFallingEdge) {
  Clocking c(ssi(), at_code(0xA5B));
  c.sensor.set_clock(c.s, true, c.shaft, 0);
  c.clock(false);
  c.shaft = at_code(0x123);  // too late for this frame
  std::string out;
  for (int n = 0; n < 12; ++n) {
    c.clock(true);
    out += c.clock(false) ? '1' : '0';
  }
  EXPECT_EQ(out, "101001011011");
}

// After the last bit the line is low for the monoflop time after the last clock edge, then idles
// high; only then is the next angle taken.
TEST(SsiSensor, IdlesHighWhenTheMonoflopHasRunOut) {
  AbsoluteAngleParameters par = ssi();
  par.monoflop_s = 20e-6;
  Clocking c(par, at_code(0xA5B));
  c.sensor.set_clock(c.s, true, c.shaft, 0);
  c.ssi(12);
  const std::int64_t last_edge_ps = c.now_ps;
  c.wait(19 * us);
  EXPECT_FALSE(c.s.high);
  EXPECT_EQ(c.s.next_ps, last_edge_ps + 20 * us);
  c.wait(1 * us);
  EXPECT_TRUE(c.s.high);
  c.shaft = at_code(0x123);
  EXPECT_EQ(c.ssi(12), "000100100011");
}

// A clock that goes on within the monoflop time gets the same frame once more, after one low bit.
TEST(SsiSensor, RepeatsTheFrameAfterOneLowBit) {
  Clocking c(ssi(), at_code(0xA5B));
  c.sensor.set_clock(c.s, true, c.shaft, 0);
  EXPECT_EQ(c.ssi(25),
            "101001011011"
            "0"
            "101001011011");
}

TEST(SsiSensor, ShowsABitItsDelayAfterTheClockEdge) {
  AbsoluteAngleParameters par = ssi();
  par.data_delay_s = 100e-9;
  Clocking c(par, at_code(0x7FF));  // first bit 0: the line falls
  c.sensor.set_clock(c.s, true, c.shaft, 0);
  c.clock(false);
  c.clock(true);
  EXPECT_TRUE(c.s.high);
  EXPECT_EQ(c.s.next_ps, c.now_ps + 100 * ns);
}

AbsoluteAngleParameters spi() {
  AbsoluteAngleParameters par;
  par.output = AngleOutput::spi;
  return par;
}

// Bits by hand in tests/reference/sensors/codes_test.cpp.
TEST(SpiSensor, AnswersItsWordAndZerosBeyond) {
  Clocking c(spi(), at_code(0xA5B));
  EXPECT_EQ(c.spi(16), "1010100101101100");
  EXPECT_EQ(c.spi(18), "101010010110110000");
  c.s.error = true;
  EXPECT_EQ(c.spi(16), "0110100101101100");
}

TEST(SpiSensor, IsSilentAndLowWhileNotSelected) {
  Clocking c(spi(), at_code(0xFFF));
  for (int n = 0; n < 8; ++n) {
    c.clock(true);
    EXPECT_FALSE(c.clock(false));
  }
  EXPECT_EQ(c.s.next_ps, AbsoluteAngleState::never_ps);
}

TEST(SpiSensor, CanAnswerWithTheFrameOfTheSelectionBefore) {
  AbsoluteAngleParameters par = spi();
  par.answers_previous = true;
  Clocking c(par, at_code(0xA5B));
  const std::string first = c.spi(16);  // of the start
  c.shaft = at_code(0x123);
  EXPECT_EQ(c.spi(16), first);
  EXPECT_NE(c.spi(16), first);
}

// By hand: 4096 + 16 + 16 clocks a period of 4 ms; code 1000 is high for 1016 of 4128 clocks.
TEST(PulseSensor, IsHighForStartAndCodeClocks) {
  AbsoluteAngleParameters par;
  par.output = AngleOutput::pwm;
  Clocking c(par, at_code(1000));
  EXPECT_TRUE(c.s.high);
  const std::int64_t fall_ps = 4000 * us * 1016 / 4128;
  EXPECT_EQ(c.s.next_ps, fall_ps);
  c.wait(fall_ps);
  EXPECT_FALSE(c.s.high);
  EXPECT_EQ(c.s.next_ps, 4000 * us);
  c.shaft = at_code(0);  // the next period's pulse is that of the angle at its start
  c.wait(4000 * us - fall_ps);
  EXPECT_TRUE(c.s.high);
  EXPECT_EQ(c.s.next_ps, 4000 * us + 4000 * us * 16 / 4128);
}

// By hand, 12 bits: a quarter turn is code 1024; zero at a quarter turn makes it 0; reversed, a
// quarter turn is three quarters, 3072 (less a hair, as the step's lower edge is passed: 3071).
TEST(AngleCode, CountsFromZeroInItsDirection) {
  AbsoluteAngleParameters par = ssi();
  const double quarter = 0.25 * two_pi;
  EXPECT_EQ(AbsoluteAngle(par, 1).code({quarter + 1e-9, 0}, 0), 1024U);
  EXPECT_EQ(AbsoluteAngle(par, 1).code({-quarter + 1e-9, 0}, 0), 3072U);
  par.zero_rad = quarter;
  EXPECT_EQ(AbsoluteAngle(par, 1).code({quarter + 1e-9, 0}, 0), 0U);
  EXPECT_EQ(AbsoluteAngle(par, 1).code({quarter - 1e-9, 0}, 0), 4095U);
  par.zero_rad = 0.0;
  par.reversed = true;
  EXPECT_EQ(AbsoluteAngle(par, 1).code({quarter + 1e-9, 0}, 0), 3071U);
}

// By hand: at 100 rad/s and 1 ms the angle is 0.1 rad old: 0.1 / 2 pi * 4096 = 65.19 codes.
TEST(AngleCode, IsAsOldAsItsLatency) {
  AbsoluteAngleParameters par = ssi();
  par.latency_s = 1e-3;
  EXPECT_EQ(AbsoluteAngle(par, 1).code(at_code(1000, 12, 100.0), 0), 935U);  // 1000.5 - 65.19
}

// By hand: eccentricity of 1 deg at 90 deg: sin 90 deg = 1, so 1 deg more: 4096 / 360 = 11.4 codes.
TEST(AngleCode, WobblesOnceATurnWithEccentricity) {
  AbsoluteAngleParameters par = ssi();
  par.eccentricity_rad = pi / 180.0;
  EXPECT_EQ(AbsoluteAngle(par, 1).code({0.25 * two_pi, 0}, 0), 1035U);
  EXPECT_EQ(AbsoluteAngle(par, 1).code({0.75 * two_pi, 0}, 0), 3060U);  // 3072 - 11.4
  par.eccentricity_phase_rad = 0.25 * two_pi;
  EXPECT_EQ(AbsoluteAngle(par, 1).code({0.25 * two_pi + 1e-9, 0}, 0), 1024U);
}

TEST(AngleCode, NoiseDependsOnTheMomentAndTheSeedOnly) {
  AbsoluteAngleParameters par = ssi();
  par.bits = 16;
  par.noise_rad = 0.01;
  const AbsoluteAngle a(par, 1), b(par, 2);
  int apart = 0;
  for (std::int64_t t = 0; t < 50; ++t) {
    EXPECT_EQ(a.code({1.0, 0.0}, t * us), a.code({1.0, 0.0}, t * us));
    apart += a.code({1.0, 0.0}, t * us) != b.code({1.0, 0.0}, t * us);
  }
  EXPECT_GT(apart, 40);
}

}  // namespace
}  // namespace stillrotor::plant
