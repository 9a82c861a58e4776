// Measures of currents and the bus on records whose values are known in closed form.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>

#include "emulator/judge/judge.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;
using ::testing::HasSubstr;

Wave sine(double peak, double frequency_Hz, double phase_rad = 0.0) {
  return [=](double t_s) { return peak * std::sin(2.0 * pi * frequency_Hz * t_s + phase_rad); };
}
/// Symmetrical triangle between -peak and +peak, from 0 upwards.
Wave triangle(double peak, double frequency_Hz) {
  return [=](double t_s) {
    const double turn = t_s * frequency_Hz + 0.25;
    return peak * (1.0 - 4.0 * std::fabs(turn - std::floor(turn) - 0.5));
  };
}

/// The true value lies in the stated interval, and the interval is no wider than `widest`.
void expect_covers(const Measurement& measured, double truth, double widest) {
  ASSERT_EQ(measured.undefined, "");
  EXPECT_NEAR(measured.value, truth, measured.uncertainty);
  EXPECT_LE(measured.uncertainty, widest);
}

// Sine of 20 A at 50 Hz over 50 whole periods: rms = peak / sqrt 2 (textbook). Widest: the mean
// square is in doubt by 1e-3 of itself, the rms by half of that: 7.1e-3 A.
TEST(PhaseCurrentRms, OfASineIsItsPeakOverRootTwo) {
  SyntheticRecord record;
  record.signal(Signal::current_V, sine(20.0, 50.0));
  const Measurement rms = measure(record.read(), "phase_current_rms", "V", {});
  expect_covers(rms, 20.0 / std::sqrt(2.0), 7.2e-3);
  EXPECT_EQ(rms.from_s, 0.0);
  EXPECT_EQ(rms.to_s, 1.0);
}

// DC 10 A with a triangular ripple of +-2 A at exactly the grid's rate: every grid point stands at
// the same phase of the ripple and reads 10 A. By hand: rms = sqrt(10^2 + 2^2 / 3) = 10.0664 A.
TEST(PhaseCurrentRms, SeesRippleThatTheGridPointsAlwaysMeetAtTheSamePhase) {
  SyntheticRecord record;
  const Wave ripple = triangle(2.0, 20e3);
  record.signal(Signal::current_U, [=](double t_s) { return 10.0 + ripple(t_s); });
  const Measurement rms = measure(record.read(), "phase_current_rms", "U", {});
  EXPECT_NEAR(rms.value, std::sqrt(100.0 + 4.0 / 3.0), 1e-5);
  expect_covers(rms, std::sqrt(100.0 + 4.0 / 3.0), 5.1e-3);
}

// A spike of 55 A, 5 us long, between grid points 50 us apart.
TEST(PhaseCurrentPeak, SeesWhatHappensBetweenGridPoints) {
  SyntheticRecord record(0.1);
  record.signal(
      Signal::current_W, [](double t_s) { return t_s > 0.050020 && t_s < 0.050025 ? -55.0 : 3.0; },
      50);
  expect_covers(measure(record.read(), "phase_current_peak", "W", {}), 55.0, 1e-5);
  expect_covers(measure(record.read(), "phase_current_peak", "", {}), 55.0, 1e-5);
  expect_covers(measure(record.read(), "phase_current_peak", "U", {}), 0.0, 1e-5);
}

TEST(PhaseCurrentPeak, OutsideTheWindowDoesNotCount) {
  SyntheticRecord record;
  record.signal(Signal::current_U, [](double t_s) { return t_s < 0.5 ? 40.0 : 10.0; });
  expect_covers(measure(record.read(), "phase_current_peak", "U", window(0.6)), 10.0, 1e-5);
  expect_covers(measure(record.read(), "phase_current_peak", "U", window(0.1, 0.2)), 40.0, 1e-5);
}

// The window begins inside the bin from 500 to 550 us, in which the current reaches 40 A: before
// the window or in it, the record cannot say. By hand: between 10 A and 40 A, 25 +- 15 A.
TEST(PhaseCurrentPeak, StatesWhatABinCutByTheWindowsEndLeavesOpen) {
  SyntheticRecord record(0.1);
  record.signal(
      Signal::current_U, [](double t_s) { return t_s > 510e-6 && t_s < 520e-6 ? 40.0 : 10.0; }, 50);
  const Measurement peak = measure(record.read(), "phase_current_peak", "U", window(530e-6));
  EXPECT_NEAR(peak.value, 25.0, 1e-5);
  EXPECT_NEAR(peak.uncertainty, 15.0, 1e-5);
}

// The worst of three is known only as well as its candidates allow: U 20 A exactly, V somewhere
// between 10 A and 40 A. By hand: 20 A to 40 A.
TEST(PhaseCurrentPeak, WorstOfThreeCarriesTheUncertaintyOfEveryPhaseThatCouldBeTheWorst) {
  SyntheticRecord record(0.1);
  record.constant(Signal::current_U, 20.0);
  record.signal(
      Signal::current_V, [](double t_s) { return t_s > 510e-6 && t_s < 520e-6 ? 40.0 : 10.0; }, 50);
  const Measurement peak = measure(record.read(), "phase_current_peak", "", window(530e-6));
  EXPECT_NEAR(peak.value - peak.uncertainty, 20.0, 1e-4);
  EXPECT_NEAR(peak.value + peak.uncertainty, 40.0, 1e-4);
}

// 48 V with 3 V of 100 Hz ripple, both extremes far from the window's ends. Widest: float32 at 51 V
// and a curve between 20 instants a bin, 3 V (2 pi 100 Hz * 1.25 us)^2 / 2 = 1e-6 V.
TEST(BusVoltage, HasItsLowestAndHighestValue) {
  SyntheticRecord record(0.1);
  record.signal(Signal::bus_voltage,
                [](double t_s) { return 48.0 + 3.0 * std::sin(2.0 * pi * 100.0 * t_s); });
  expect_covers(measure(record.read(), "bus_voltage_min", "", {}), 45.0, 1e-5);
  expect_covers(measure(record.read(), "bus_voltage_max", "", {}), 51.0, 1e-5);
}

// Mean of a chopped current, 30 A for 30 % of 100 us: 9 A by hand. Most bins reach from 0 A to 30
// A; their means know better. It changes halfway between the instants that the record is made of.
TEST(BusCurrent, HasItsMeanAndItsPeak) {
  SyntheticRecord record(0.1);
  record.signal(
      Signal::bus_current,
      [](double t_s) {
        const double turn = t_s / 100e-6 + 0.005;
        return turn - std::floor(turn) < 0.3 ? 30.0 : 0.0;
      },
      50);
  expect_covers(measure(record.read(), "bus_current_peak", "", {}), 30.0, 1e-5);
  expect_covers(measure(record.read(), "bus_current_mean", "", {}), 9.0, 9.1e-3);
}

TEST(BusCurrent, FlowingBackIsNegativeInTheMeanAndCountsInThePeak) {
  SyntheticRecord record(0.1);
  record.constant(Signal::bus_current, -12.5);
  expect_covers(measure(record.read(), "bus_current_mean", "", {}), -12.5, 12.6e-3);
  expect_covers(measure(record.read(), "bus_current_peak", "", {}), 12.5, 1e-5);
}

TEST(CurrentMeasures, AreUndefinedInAWindowShorterThanAGridStep) {
  SyntheticRecord record(0.1);
  for (const auto* name : {"phase_current_peak", "phase_current_rms", "bus_voltage_min",
                           "bus_current_mean", "torque_mean", "torque_ripple"}) {
    EXPECT_THAT(measure(record.read(), name, "", window(10e-6, 40e-6)).undefined,
                HasSubstr("shorter than one step of the record's grid (50 us)"))
        << name;
  }
}

TEST(CurrentMeasures, AreUndefinedWhereValuesAreNotNumbers) {
  SyntheticRecord record(0.1);
  record.signal(Signal::current_U, [](double t_s) {
    return t_s > 0.05 ? std::numeric_limits<double>::quiet_NaN() : 1.0;
  });
  EXPECT_THAT(measure(record.read(), "phase_current_rms", "U", {}).undefined,
              HasSubstr("values of phase_current_square.U that are not numbers"));
  EXPECT_EQ(measure(record.read(), "phase_current_rms", "U", window(0.0, 0.04)).undefined, "");
}

TEST(Measures, RefuseWhatTheyDoNotKnow) {
  SyntheticRecord record(0.1);
  EXPECT_THAT(measure(record.read(), "colour", "", {}).undefined,
              HasSubstr("no measure \"colour\""));
  EXPECT_THAT(measure(record.read(), "phase_current_rms", "X", {}).undefined,
              HasSubstr("no phase \"X\""));
}

TEST(Windows, MustLieInTheRecord) {
  SyntheticRecord record(0.1);
  const auto why = [&](const Window& part) {
    return measure(record.read(), "bus_voltage_max", "", part).undefined;
  };
  EXPECT_THAT(why(window(0.05, 0.2)),
              HasSubstr("50 ms to 200 ms lies outside the record, which covers 0 s to 100 ms"));
  EXPECT_THAT(why(window(-0.01)), HasSubstr("outside the record"));
  EXPECT_THAT(why(window(0.3)), HasSubstr("outside the record"));
  EXPECT_THAT(why(window(0.06, 0.05)), HasSubstr("the window is empty"));
  EXPECT_EQ(why(window(0.0, 0.1)), "");
}

TEST(Windows, HangOnEventsByName) {
  SyntheticRecord record(1.0);
  record.mark(MarkKind::action, 200 * ms, "key on")
      .mark(MarkKind::fault, 500 * ms, "phase_open", "V");
  record.signal(Signal::current_U, [](double t_s) { return t_s > 0.5 ? 7.0 : 3.0; });
  const Window part = window(0.1, 0.2, "phase_open");
  const Measurement peak = measure(record.read(), "phase_current_peak", "U", part);
  EXPECT_NEAR(peak.from_s, 0.6, 1e-12);
  EXPECT_NEAR(peak.to_s, 0.7, 1e-12);
  EXPECT_NEAR(peak.value, 7.0, 1e-5);
  EXPECT_THAT(
      measure(record.read(), "phase_current_peak", "U", window(0.0, -1.0, "brake on")).undefined,
      HasSubstr("\"brake on\" did not happen in this run (what happened: key on, phase_open)"));
}

TEST(Windows, ToTheEndOfARunThatWasCutShortAreUndefined) {
  SyntheticRecord record(0.1);
  record.constant(Signal::bus_voltage, 48.0).cut_short();
  EXPECT_THAT(measure(record.read(), "bus_voltage_max", "", {}).undefined,
              HasSubstr("cut short at 100 ms"));
  EXPECT_EQ(measure(record.read(), "bus_voltage_max", "", window(0.0, 0.05)).undefined, "");
}

}  // namespace
}  // namespace stillrotor
