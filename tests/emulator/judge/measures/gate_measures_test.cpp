// Measures of the gates on hand-made edges: exact to the picosecond.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/judge/judge.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;
using ::testing::HasSubstr;

constexpr std::uint16_t UH = 0, UL = 1, VH = 2, VL = 3, WH = 4;
constexpr double ps = 1e-12;

Measurement of(SyntheticRecord& record, const char* name, const Window& part = {}) {
  return measure(record.read(), name, "", part);
}

TEST(PwmFrequency, IsTheGateThatRisesMostOften) {
  SyntheticRecord record(0.1);
  for (std::int64_t k = 0; k < 1600; ++k) {  // 62.5 us: 16 kHz, duty changes
    record.pulse(UH, 62'500'000 * k, 62'500'000 * k + (10 + k % 40) * us);
  }
  for (std::int64_t k = 0; k < 10; ++k) record.pulse(VL, 10 * ms * k, 10 * ms * k + ms);
  const Measurement frequency = of(record, "pwm_frequency");
  EXPECT_NEAR(frequency.value, 16e3, 1e-9);
  // One stamp's resolution: 16 kHz * 1 ps / 62.5 us.
  EXPECT_NEAR(frequency.uncertainty, 16e3 * 1e-12 / 62.5e-6, 1e-12);
}

// Six-step: a gate pulses for a sector, rests for five. The pauses are no periods.
TEST(PwmFrequency, IsNotMisledByTheSectorsInWhichAGateRests) {
  SyntheticRecord record(0.6);
  for (std::int64_t sector = 0; sector < 10; ++sector) {
    for (std::int64_t k = 0; k < 80; ++k) {
      const std::int64_t at = sector * 60 * ms + k * 125 * us;
      record.pulse(UH, at, at + 40 * us);
    }
  }
  EXPECT_NEAR(of(record, "pwm_frequency").value, 8e3, 1e-9);
}

TEST(PwmFrequency, OfJitteringPeriodsStatesAnUncertaintyThatCoversTheMean) {
  SyntheticRecord record(0.1);
  std::uint32_t seed = 1;
  for (std::int64_t k = 0; k < 1000; ++k) {
    seed = seed * 1664525U + 1013904223U;  // +-0.5 us, evenly
    const std::int64_t at = 100 * us * k + static_cast<std::int64_t>(seed % 1'000'000) + us;
    record.pulse(UH, at, at + 30 * us);
  }
  const Measurement frequency = of(record, "pwm_frequency");
  EXPECT_NEAR(frequency.value, 10e3, frequency.uncertainty);
  EXPECT_GT(frequency.uncertainty, 0.1);
  EXPECT_LT(frequency.uncertainty, 20.0);
}

TEST(PwmFrequency, IsUndefinedBelowThreePeriods) {
  SyntheticRecord record(0.1);
  for (std::int64_t k = 0; k < 3; ++k) record.pulse(UH, k * ms, k * ms + us);
  EXPECT_THAT(of(record, "pwm_frequency").undefined, HasSubstr("no gate rose more than 3 times"));
}

// Leg U changes sides with 1.000 us and 0.900007 us, leg V with 2 us: the shortest counts.
TEST(SmallestDeadTime, IsExactToThePicosecond) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 30 * us).pulse(UL, 31 * us, 50 * us);
  record.pulse(UH, 50 * us + 900'007, 70 * us);
  record.pulse(VH, 10 * us, 20 * us).pulse(VL, 22 * us, 30 * us);
  const Measurement dead_time = of(record, "smallest_dead_time");
  EXPECT_NEAR(dead_time.value, 900'007 * ps, 1e-18);
  EXPECT_NEAR(dead_time.uncertainty, ps, 1e-18);
}

TEST(SmallestDeadTime, DoesNotTakeASwitchThatComesOnAgainForAChangeOfSides) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 20 * us).pulse(UH, 20 * us + 100, 30 * us).pulse(UL, 33 * us, 40 * us);
  EXPECT_NEAR(of(record, "smallest_dead_time").value, 3e-6, 1e-18);
}

TEST(SmallestDeadTime, IsNegativeByTheOverlap) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 30 * us).pulse(UL, 30 * us - 250'000, 50 * us);
  EXPECT_NEAR(of(record, "smallest_dead_time").value, -250e-9, 1e-18);
}

TEST(SmallestDeadTime, IsZeroWhenBothChangeAtOnceInWhateverOrderTheyAreRecorded) {
  for (const bool off_first : {true, false}) {
    SyntheticRecord record(0.1);
    record.edge(UH, 10 * us, true);
    if (off_first) record.edge(UH, 20 * us, false);
    record.edge(UL, 20 * us, true);
    if (!off_first) record.edge(UH, 20 * us, false);
    EXPECT_EQ(of(record, "smallest_dead_time").value, 0.0);
    EXPECT_EQ(of(record, "shoot_through_count").value, 0.0);
  }
}

TEST(SmallestDeadTime, CountsOnlyChangesThatLieInTheWindow) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 30 * us).pulse(UL, 30 * us + 500, 50 * us);  // 0.5 ns, too early
  record.pulse(UH, 10 * ms, 11 * ms).pulse(UL, 11 * ms + 2 * us, 12 * ms);
  EXPECT_NEAR(of(record, "smallest_dead_time", window(1e-3)).value, 2e-6, 1e-18);
}

TEST(SmallestDeadTime, IsUndefinedWhenNoLegChangesSides) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 20 * us).pulse(VL, 20 * us, 30 * us);
  EXPECT_THAT(of(record, "smallest_dead_time").undefined, HasSubstr("no leg changes"));
}

TEST(ShootThroughCount, CountsOverlapsOfOneLegOnly) {
  SyntheticRecord record(0.1);
  record.pulse(UH, 10 * us, 30 * us).pulse(UL, 29 * us, 40 * us);  // overlap
  record.pulse(UL, 50 * us, 60 * us).pulse(UH, 52 * us, 55 * us);  // overlap, one inside the other
  record.pulse(VH, 10 * us, 90 * us).pulse(WH, 20 * us, 30 * us);  // other legs: none
  const Measurement count = of(record, "shoot_through_count");
  EXPECT_EQ(count.value, 2.0);
  EXPECT_EQ(count.uncertainty, 0.0);
  EXPECT_EQ(of(record, "shoot_through_count", window(45e-6)).value, 1.0);
  EXPECT_EQ(of(record, "shoot_through_count", window(70e-6)).value, 0.0);
}

TEST(ShootThroughCount, CountsAnOverlapThatNeverEndsOrWasThereFromTheStart) {
  SyntheticRecord stuck(0.1);
  stuck.edge(UH, 10 * us, true).edge(UL, 20 * us, true);
  EXPECT_EQ(of(stuck, "shoot_through_count").value, 1.0);
  SyntheticRecord from_start(0.1);
  from_start.initially_high(VH).initially_high(VL);
  EXPECT_EQ(of(from_start, "shoot_through_count").value, 1.0);
  SyntheticRecord quiet(0.1);
  EXPECT_EQ(of(quiet, "shoot_through_count").value, 0.0);
}

/// Gates pulse until stop_ps; a wire breaks at 100 ms; the rotor turns at 40 electrical turns a
/// second.
SyntheticRecord& breaking(SyntheticRecord& record, std::int64_t stop_ps) {
  for (std::int64_t at = 0; at + 40 * us <= stop_ps; at += 100 * us)
    record.pulse(UH, at, at + 40 * us);
  record.pulse(VL, ms, stop_ps);
  record.mark(MarkKind::fault, 100 * ms, "hall_line_open", "U");
  return record.signal(Signal::angle_e,
                       [](double t_s) { return std::fmod(2.0 * pi * 40.0 * t_s, 2.0 * pi); });
}

const Window after_the_break = after("hall_line_open");

TEST(TimeToGatesOff, RunsFromTheEventToTheLastGateGoingOff) {
  SyntheticRecord record(0.3);
  const Measurement time = of(breaking(record, 113 * ms + 7), "time_to_gates_off", after_the_break);
  EXPECT_NEAR(time.value, 13e-3 + 7 * ps, 1e-15);
  EXPECT_NEAR(time.uncertainty, ps, 1e-18);
  EXPECT_FALSE(time.at_least);
}

// By hand: 13 ms at 40 electrical turns a second = 0.52 turns. Tolerance: float32 angles.
TEST(TimeToGatesOff, InTurnsIsHowFarTheRotorTurned) {
  SyntheticRecord record(0.3);
  const Measurement turns = of(breaking(record, 113 * ms), "turns_to_gates_off", after_the_break);
  EXPECT_NEAR(turns.value, 0.52, 1e-6);
  EXPECT_LE(turns.uncertainty, 1e-6);
  EXPECT_NEAR(turns.value, 0.52, turns.uncertainty);
}

TEST(TimeToGatesOff, InTurnsCountsBackwardsToo) {
  SyntheticRecord record(0.3);
  breaking(record, 113 * ms).signal(Signal::angle_e, [](double t_s) {
    return 2.0 * pi - std::fmod(2.0 * pi * 40.0 * t_s, 2.0 * pi);
  });
  EXPECT_NEAR(of(record, "turns_to_gates_off", after_the_break).value, 0.52, 1e-6);
}

TEST(TimeToGatesOff, IsNotFooledByGatesThatComeBack) {
  SyntheticRecord record(0.5);
  breaking(record, 113 * ms).pulse(WH, 200 * ms, 210 * ms);
  EXPECT_NEAR(of(record, "time_to_gates_off", after_the_break).value, 110e-3, 1e-12);
}

TEST(TimeToGatesOff, IsALowerBoundWhileGatesAreOn) {
  SyntheticRecord record(0.3);
  breaking(record, 113 * ms).edge(WH, 120 * ms, true);
  const Measurement time = of(record, "time_to_gates_off", after_the_break);
  EXPECT_TRUE(time.at_least);
  EXPECT_NEAR(time.value, 0.2, 1e-12);
  const Measurement turns = of(record, "turns_to_gates_off", after_the_break);
  EXPECT_TRUE(turns.at_least);
  EXPECT_NEAR(turns.value, 8.0, 1e-5);
}

TEST(TimeToGatesOff, IsUndefinedWithoutAnEventOrRestOrActivity) {
  SyntheticRecord record(0.3);
  breaking(record, 113 * ms);
  EXPECT_THAT(of(record, "time_to_gates_off").undefined, HasSubstr("name one with `after`"));
  // Rest of 4 ms only.
  EXPECT_THAT(of(record, "time_to_gates_off", window(0.0, 17e-3, "hall_line_open")).undefined,
              HasSubstr("only 4 ms before the window's end; rest needs 5 ms"));
  SyntheticRecord idle(0.3);
  EXPECT_THAT(of(breaking(idle, 80 * ms), "time_to_gates_off", after_the_break).undefined,
              HasSubstr("off already"));
}

}  // namespace
}  // namespace stillrotor
