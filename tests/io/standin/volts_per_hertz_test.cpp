// The volts-per-hertz controller on a winding of known impedance: what voltage, at what frequency,
// and what it does when current or bus go too far. Its life with a real machine is tested on
// benches.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>

#include "tests/io/standin/day_out.hpp"

namespace stillrotor::io::test {
namespace {

constexpr std::chrono::nanoseconds pwm_period{62'500};
constexpr double pi = 3.14159265358979323846;
constexpr double peak_per_rms = 0.8164965809;  // sqrt(2/3)

/// 0.5 ohm and 1 mH a phase, at rest: no EMF.
constexpr MotorScript winding{
    .omega_m_rad_s = 0.0, .resistance_ohm = 0.5, .inductance_H = 1e-3, .flux_linkage_Wb = 0.0};
double impedance_ohm(double frequency_Hz) {
  return std::hypot(winding.resistance_ohm, 2.0 * pi * frequency_Hz * winding.inductance_H);
}

double throttle_V(double share) { return 0.9 + 3.1 * share; }

/// Current vector, mean of one PWM period.
std::complex<double> current(DayOut& day) {
  std::complex<double> sum;
  constexpr int probes = 25;
  for (int k = 0; k < probes; ++k) {
    day.run(pwm_period / probes);
    const auto i = day.motor.currents_A();
    sum += std::complex(i[0], (i[1] - i[2]) / std::sqrt(3.0)) / static_cast<double>(probes);
  }
  return sum;
}

struct Turning {
  double current_A, frequency_Hz;  // mean length; signed: U-V-W positive
};
Turning turning(DayOut& day, int periods = 320) {
  double length = 0.0, turned = 0.0;
  std::complex<double> last = current(day);
  for (int k = 0; k < periods; ++k) {
    const std::complex<double> i = current(day);
    length += std::abs(i) / periods;
    turned += std::arg(i / last);
    last = i;
  }
  return {length, turned / (2.0 * pi * periods * 62.5e-6)};
}

// 25 Hz/s: two seconds to 50 Hz. The voltage from the current times the impedance. By hand, of
// 28 V line to line (22.86 V phase peak) and 1.4 V boost: 12.5 Hz 8.05 V rms, 25 Hz 14.7 V. Beyond
// 50 Hz the voltage stays. Tolerance 1 %: compensation of the dead time near each zero of current.
TEST(VoltsPerHertz, PutsOutTheVoltageOfItsFrequency) {
  VoltsPerHertzConfig config;
  config.top_frequency_Hz = 80.0;
  config.acceleration_Hz_per_s = 400.0;
  DayOut day{make_volts_per_hertz(config), winding};
  day.start();
  for (const auto& [frequency, rms] :
       {std::pair{12.5, 8.05}, {25.0, 14.7}, {50.0, 28.0}, {80.0, 28.0}}) {
    day.motor.set_throttle(throttle_V(frequency / 80.0));
    day.run(milliseconds(300));
    const Turning t = turning(day, static_cast<int>(std::lround(4 * 16e3 / frequency)));
    EXPECT_NEAR(t.frequency_Hz, frequency, 0.01 * frequency);
    EXPECT_NEAR(t.current_A * impedance_ohm(frequency), peak_per_rms * rms,
                0.01 * peak_per_rms * rms)
        << frequency;
  }
}

// The dead time's share of the period times the bus, 1 us * 16 kHz * 48 V = 0.768 V, against the
// current in each leg: a square wave whose fundamental is 4/pi of it, 0.978 V. Source: closed form
// (Fourier series of a square wave). Tolerance 5 %: ripple around the current's zeros.
TEST(VoltsPerHertz, LosesTheDeadTimesVoltageOnlyWhereItIsNotCompensated) {
  const auto settled = [](bool compensated) {
    VoltsPerHertzConfig config;
    config.acceleration_Hz_per_s = 400.0;
    config.dead_time_compensation = compensated;
    DayOut day{make_volts_per_hertz(config), winding};
    day.start();
    day.motor.set_throttle(throttle_V(0.2));
    day.run(milliseconds(300));
    return turning(day, 6400).current_A * impedance_ohm(10.0);
  };
  EXPECT_NEAR(settled(true) - settled(false), 0.978, 0.05);
}

// 25 Hz/s up, 10 Hz/s down. Half throttle is read within a millisecond; after 400 ms 10 Hz, and the
// window of 20 ms sees the mean of 10 and 10.5. Then down from 25 Hz: 21 Hz after 400 ms.
TEST(VoltsPerHertz, RampsItsFrequency) {
  VoltsPerHertzConfig config;
  config.deceleration_Hz_per_s = 10.0;
  DayOut day{make_volts_per_hertz(config), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.5));
  day.run(milliseconds(400));
  EXPECT_NEAR(turning(day).frequency_Hz, 10.25, 0.15);
  day.run(milliseconds(1500));
  EXPECT_NEAR(turning(day).frequency_Hz, 25.0, 0.1);
  day.motor.set_throttle(throttle_V(0.0));
  day.run(milliseconds(400));
  EXPECT_NEAR(turning(day).frequency_Hz, 20.9, 0.15);
}

TEST(VoltsPerHertz, KeepsItsGatesOffUntilTheThrottleAsksAndOnceTheRampIsDown) {
  DayOut day{make_volts_per_hertz({.scaling = {}, .deceleration_Hz_per_s = 50.0}), winding};
  day.start();
  day.run(milliseconds(50));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
  day.motor.set_throttle(throttle_V(0.2));
  day.run(milliseconds(500));
  EXPECT_GT(turning(day).current_A, 5.0);
  day.motor.set_throttle(0.85);
  day.run(milliseconds(205));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
  EXPECT_FALSE(day.motor.spoke("stopped"));
}

// 10 Hz at 50 Hz/s: 200 ms, with the throttle still open; 4.5 Hz on the mean from 100 to 120 ms.
// Tolerance: the dead time bends the angle, which weighs on a tenth of a turn.
TEST(VoltsPerHertz, LeadsTheFrequencyToNothingWhileTheBrakeIsOn) {
  DayOut day{make_volts_per_hertz({.scaling = {}, .deceleration_Hz_per_s = 50.0}), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.2));
  day.run(milliseconds(500));
  day.brake(true);
  day.run(milliseconds(100));
  EXPECT_NEAR(turning(day).frequency_Hz, 4.5, 1.0);
  day.run(milliseconds(90));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
  day.brake(false);
  day.run(milliseconds(300));
  EXPECT_GT(turning(day).frequency_Hz, 5.0);
}

TEST(VoltsPerHertz, TurnsTheOtherWayRoundOnlyFromRest) {
  VoltsPerHertzConfig config;
  config.acceleration_Hz_per_s = config.deceleration_Hz_per_s = 100.0;
  DayOut day{make_volts_per_hertz(config), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.4));
  day.run(milliseconds(400));
  day.motor.set_line(line::reverse, Level::high);
  day.run(milliseconds(400));
  EXPECT_NEAR(turning(day, 800).frequency_Hz, 20.0, 0.2);
  day.motor.set_throttle(0.85);
  day.run(milliseconds(300));
  day.motor.set_throttle(throttle_V(0.4));
  day.run(milliseconds(400));
  EXPECT_NEAR(turning(day, 800).frequency_Hz, -20.0, 0.2);
}

// Almost without inductance the winding takes 22.86 V / 0.5 ohm = 45.7 A at 50 Hz. With a limit of
// 20 A the ramp ends where 10 V flow through it: (10 - 1.143) / (22.86 - 1.143) * 50 = 20.4 Hz.
// Tolerance: the ramp fades over the last tenth, 2 A or 4.6 Hz, and creeps on from there.
TEST(VoltsPerHertz, StopsItsRampAtTheCurrentLimit) {
  MotorScript resistive = winding;
  resistive.inductance_H = 100e-6;
  VoltsPerHertzConfig config;
  config.acceleration_Hz_per_s = 100.0;
  const auto settled = [&](double limit) {
    config.current_limit_A = limit;
    DayOut day{make_volts_per_hertz(config), resistive};
    day.start();
    day.motor.set_throttle(throttle_V(1.0));
    day.run(milliseconds(1000));
    EXPECT_FALSE(day.motor.spoke("stopped"));
    return turning(day, 1600);
  };
  const Turning limited = settled(20.0), free = settled(60.0);
  EXPECT_NEAR(limited.current_A, 20.0, 0.5);
  EXPECT_NEAR(limited.frequency_Hz, 20.4, 1.5);
  EXPECT_NEAR(free.current_A, 45.7, 0.7);
  EXPECT_NEAR(free.frequency_Hz, 50.0, 0.2);
}

// The duties follow the measured bus. Tolerance 1 %: as above.
TEST(VoltsPerHertz, HoldsItsVoltageWhileTheBusMoves) {
  VoltsPerHertzConfig config;
  config.acceleration_Hz_per_s = 400.0;
  DayOut day{make_volts_per_hertz(config), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.5));
  day.run(milliseconds(300));
  const double before = turning(day, 1280).current_A;
  day.motor.set_bus(40.0);
  day.run(milliseconds(50));
  EXPECT_NEAR(turning(day, 1280).current_A, before, 0.01 * before);
}

// By 110 to 120 % of the bus at the start the fall of the frequency fades out; beyond 130 % it
// stops. 25 Hz/s: at 115 % half of it, 12.5 Hz/s, 2.5 Hz in 200 ms.
TEST(VoltsPerHertz, HoldsTheFrequencyWhileTheBusRises) {
  VoltsPerHertzConfig config;
  config.acceleration_Hz_per_s = 400.0;
  DayOut day{make_volts_per_hertz(config), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.5));
  day.run(milliseconds(300));
  day.motor.set_throttle(0.85);
  day.motor.set_bus(1.25 * 48.0);
  day.run(milliseconds(200));
  EXPECT_NEAR(turning(day, 640).frequency_Hz, 25.0, 0.2);
  day.motor.set_bus(1.15 * 48.0);
  day.run(milliseconds(200));
  EXPECT_NEAR(turning(day).frequency_Hz, 22.4, 0.3);
  day.motor.set_bus(1.35 * 48.0);
  day.run(milliseconds(2));
  EXPECT_TRUE(day.motor.spoke("stopped: bus rose"));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
}

TEST(VoltsPerHertz, StopsWhenTheBusFalls) {
  DayOut day{make_volts_per_hertz({}), winding};
  day.start();
  day.motor.set_throttle(throttle_V(0.5));
  day.run(milliseconds(300));
  day.motor.set_bus(0.35 * 48.0);
  day.run(milliseconds(2));
  EXPECT_TRUE(day.motor.spoke("stopped: bus fell"));
}

// 10 mohm across a boost of 2.8 V line to line, 2.29 V phase peak, would be 229 A.
TEST(VoltsPerHertz, StopsOnACurrentFarBeyondItsLimit) {
  MotorScript shorted = winding;
  shorted.resistance_ohm = 0.01;
  shorted.inductance_H = 50e-6;
  DayOut day{make_volts_per_hertz({.scaling = {}, .boost_voltage_V = 2.8}), shorted};
  day.start();
  day.motor.set_throttle(throttle_V(0.1));
  day.run(milliseconds(100));
  EXPECT_TRUE(day.motor.spoke("stopped: phase current"));
  EXPECT_TRUE(day.motor.all_gates(Level::low));
}

// Said, and run without a limit: 22.86 V / |0.5 + 0.314 j| ohm = 38.7 A, whatever the limit of 10
// A.
TEST(VoltsPerHertz, RunsWithoutALimitWhereItsCurrentSenseIsNotTrusted) {
  VoltsPerHertzConfig config;
  config.acceleration_Hz_per_s = 400.0;
  config.current_limit_A = 10.0;
  MotorScript unplugged = winding;
  unplugged.current_offset_V = 0.2;
  DayOut day{make_volts_per_hertz(config), unplugged};
  day.start();
  EXPECT_TRUE(day.motor.spoke("current sense not trusted"));
  day.motor.set_throttle(throttle_V(1.0));
  day.run(milliseconds(300));
  EXPECT_NEAR(turning(day, 960).current_A, 38.7, 2.0);
}

}  // namespace
}  // namespace stillrotor::io::test
