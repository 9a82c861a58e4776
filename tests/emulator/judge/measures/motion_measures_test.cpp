// Measures of torque and speed on records whose values are known in closed form.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/judge/judge.hpp"
#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;
using ::testing::HasSubstr;

constexpr std::uint16_t gate_UH = 0;

/// Torque of 8 N m with a 300 Hz ripple of +-0.6 N m (as six steps make it) and a triangle of
/// +-0.4 N m at 10 kHz (as switching makes it).
SyntheticRecord& rippled(SyntheticRecord& record) {
  return record.signal(Signal::torque, [](double t_s) {
    const double turn = 10e3 * t_s;
    const double triangle = 4.0 * std::fabs(turn - std::floor(turn) - 0.5) - 1.0;
    return 8.0 + 0.6 * std::sin(2.0 * pi * 300.0 * t_s) + 0.4 * triangle;
  });
}

SyntheticRecord& switching_at_10_kHz(SyntheticRecord& record) {
  for (std::int64_t k = 0; k < 10'000; ++k) {
    record.pulse(gate_UH, 100 * us * k + 25 * us, 100 * us * k + 75 * us);
  }
  return record;
}

TEST(TorqueMean, IsTheMeanWhateverTheRipple) {
  SyntheticRecord record;
  const Measurement mean = measure(rippled(record).read(), "torque_mean", "", {});
  EXPECT_NEAR(mean.value, 8.0, 1e-4);  // 300 whole periods and 10,000 whole triangles
  EXPECT_NEAR(mean.value, 8.0, mean.uncertainty);
}

// By hand: 1.2 N m peak to peak over 8 N m = 0.15. A moving average over T = 100 us leaves
// sin(pi f T) / (pi f T) = 0.9985 of 300 Hz: 0.14978. Tolerance: the bins catch the crest to
// (2 pi 300 Hz * 25 us)^2 / 2 = 1.1e-3 of it.
TEST(TorqueRipple, LeavesTheSwitchingOut) {
  SyntheticRecord record;
  const Measurement ripple =
      measure(switching_at_10_kHz(rippled(record)).read(), "torque_ripple", "", {});
  ASSERT_EQ(ripple.undefined, "");
  EXPECT_NEAR(ripple.value, 0.14978, 2e-4);
}

// Negative control: without edges nothing is averaged, so the switching stays in; bin by bin the
// triangle goes once up or once down in each bin of 50 us, its middle is 0: least and greatest
// count alike. With the grid twice as fine it shows: bins of 25 us hold a quarter triangle, whose
// middles lie at +-0.2 N m. By hand: (1.2 + 0.4) / 8 = 0.2, less what the crests miss each other.
TEST(TorqueRipple, WithoutSwitchingIsTakenBinByBin) {
  SyntheticRecord fine(1.0, 40e3);
  const Measurement ripple = measure(rippled(fine).read(), "torque_ripple", "", {});
  ASSERT_EQ(ripple.undefined, "");
  EXPECT_NEAR(ripple.value, 0.2, 1e-3);
  SyntheticRecord averaged(1.0, 40e3);
  EXPECT_NEAR(measure(switching_at_10_kHz(rippled(averaged)).read(), "torque_ripple", "", {}).value,
              0.14978, 2e-4);
}

// By hand: (1.2 + 0.8) / 8 = 0.25; the crests of 300 Hz and 10 kHz meet to 1e-3 of 0.6 N m.
TEST(TorqueRippleWithSwitching, TakesEverythingIn) {
  SyntheticRecord record;
  const Measurement ripple =
      measure(rippled(record).read(), "torque_ripple_with_switching", "", {});
  ASSERT_EQ(ripple.undefined, "");
  EXPECT_NEAR(ripple.value, 0.25, 3e-4);
}

TEST(TorqueRipple, IsUndefinedWhereTheMeanIsNearlyNothing) {
  SyntheticRecord record;
  record.signal(Signal::torque, [](double t_s) { return std::sin(2.0 * pi * 50.0 * t_s); });
  for (const auto* name : {"torque_ripple", "torque_ripple_with_switching"}) {
    EXPECT_THAT(measure(record.read(), name, "", {}).undefined,
                HasSubstr("the mean torque is only"));
  }
}

// Three periods of 4 ms in 12 ms are enough. Periods of 0.001, 7.199 and 7.2 ms have the median
// 7.199 ms; a window of 14.41 ms holds seven whole bins of 2 ms, less than two of those.
TEST(TorqueRipple, IsUndefinedInAWindowShorterThanTwoSwitchingPeriods) {
  SyntheticRecord record(0.1, 500.0);
  record.constant(Signal::torque, 5.0);
  for (const std::int64_t at : {0 * ms, 4 * ms, 8 * ms, 12 * ms}) {
    record.pulse(gate_UH, at, at + us);
  }
  EXPECT_EQ(measure(record.read(), "torque_ripple", "", window(0.0, 0.012)).undefined, "");
  SyntheticRecord uneven(0.1, 500.0);
  uneven.constant(Signal::torque, 5.0);
  for (const std::int64_t at : {0 * ms, us, 7200 * us, 14400 * us})
    uneven.pulse(gate_UH, at, at + us / 2);
  EXPECT_THAT(measure(uneven.read(), "torque_ripple", "", window(0.0, 0.01441)).undefined,
              HasSubstr("shorter than two periods"));
}

// Speed rises evenly from 0 to 50 rad/s in 1 s: mean 25, least at the first grid point.
TEST(Speed, HasItsMeanLeastAndGreatestValue) {
  SyntheticRecord record;
  record.signal(Signal::speed, [](double t_s) { return 50.0 * t_s; });
  const auto value = [&](const char* name) { return measure(record.read(), name, "", {}); };
  EXPECT_NEAR(value("speed_mean").value, 25.0, value("speed_mean").uncertainty);
  EXPECT_LE(value("speed_mean").uncertainty, 50.0 / 20e3 * 1.01);  // one grid step's change
  EXPECT_NEAR(value("speed_max").value, 50.0, value("speed_max").uncertainty);
  EXPECT_NEAR(value("speed_min").value, 0.0, value("speed_min").uncertainty);
  EXPECT_LE(value("speed_min").uncertainty, 50.0 / 20e3 * 1.01);
  EXPECT_NEAR(measure(record.read(), "speed_max", "", window(0.0, 0.5)).value, 25.0, 1e-5);
}

TEST(Speed, BackwardsIsNegative) {
  SyntheticRecord record(0.1);
  record.constant(Signal::speed, -30.0);
  EXPECT_NEAR(measure(record.read(), "speed_max", "", {}).value, -30.0, 1e-5);
}

TEST(Speed, IsUndefinedInAWindowWithoutTwoGridPoints) {
  SyntheticRecord record(0.1);
  for (const auto* name : {"speed_mean", "speed_min", "speed_max"}) {
    EXPECT_THAT(measure(record.read(), name, "", window(60e-6, 140e-6)).undefined,
                HasSubstr("fewer than two points"));
  }
}

}  // namespace
}  // namespace stillrotor
