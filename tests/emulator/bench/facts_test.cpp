// Figures of a bench that people compare with what they know of their drive.
#include "emulator/bench/facts.hpp"

#include <cmath>
#include <numbers>

#include "emulator/bench/back_emf.hpp"
#include "emulator/bench/nearest.hpp"
#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

// Derived: e_U - e_V of two unit sines 120 degrees apart has amplitude sqrt 3. Tolerance: search.
TEST(BackEmf, LineToLinePeakOfASineIsRootThree) {
  EXPECT_NEAR(line_to_line_peak_ratio({{1, 1.0}}), std::sqrt(3.0), 1e-9);
}

// A triplen harmonic is the same in all phases and cancels between two of them.
TEST(BackEmf, TriplenHarmonicsCancelBetweenLines) {
  EXPECT_NEAR(line_to_line_peak_ratio({{1, 1.0}, {3, 0.3}}), std::sqrt(3.0), 1e-9);
}

// Derived: flat tops of 120 degrees overlap for 60, so the peak is twice the flat top. Tolerance
// 0.5 %: harmonics end at order 99 and overshoot at the corners by less.
TEST(BackEmf, LineToLinePeakOfATrapezoidIsTwiceItsFlatTop) {
  const double twice = 2.0 * plant::trapezoid_flat_over_fundamental(120.0);
  EXPECT_NEAR(line_to_line_peak_ratio(plant::trapezoid_harmonics(120.0, 99)), twice, 0.005 * twice);
}

// By hand: sqrt 3 * 4 * 0.012 * w = 48 + 2 * 0.8, so w = 596.6 rad/s. Tolerance: digits shown.
TEST(Facts, RectificationBeginsWhereTheLineVoltagePassesTwoDiodes) {
  const test::Folder folder;
  const Bench bench = load_bench(folder.write("b.yaml", test::small_bench), {}, "/none");
  EXPECT_NEAR(rectification_onset_rad_s(bench), 49.6 / (std::sqrt(3.0) * 0.048), 1e-6);
  EXPECT_NEAR(rectification_onset_rad_s(bench), 596.6, 0.05);
}

// By hand: 48 V / (2 * (50 + 4) mohm + 40 mohm) = 324.3 A; a laboratory supply ends it at its
// limit.
TEST(Facts, StallCurrentIsTheSupplyOverBothPhases) {
  const test::Folder folder;
  Bench bench = load_bench(folder.write("b.yaml", test::small_bench), {}, "/none");
  EXPECT_NEAR(stall_current_A(bench), 48.0 / 0.148, 1e-9);
  bench.drive.supply.kind = plant::SupplyKind::bench_supply;
  bench.drive.supply.current_limit_A = 20.0;
  EXPECT_EQ(stall_current_A(bench), 20.0);
}

// By hand, 4 pole pairs at 3000 rpm: 200 Hz electrical, 1200 Hall edges a second; 12 x 16 kHz.
TEST(Facts, EdgeRatesFollowFromTheExpectedSpeedAndFrequency) {
  const test::Folder folder;
  const Bench bench = load_bench(
      folder.write("b.yaml", std::string(test::small_bench) + "  expects: {top_speed: 3000 rpm}\n"),
      {}, "/none");
  const auto value = [&](const std::string& what) {
    for (const Fact& fact : facts(bench))
      if (fact.what == what) return fact.value;
    return std::nan("");
  };
  EXPECT_NEAR(value("electrical frequency at top speed"), 200.0, 1e-9);
  EXPECT_NEAR(value("Hall edges at top speed"), 1200.0, 1e-9);
  EXPECT_NEAR(value("gate edges"), 192e3, 1e-6);
}

// By hand: the source's 40 mohm and the link's 5 mohm with 2 nH are 44.4 ns; the steps are a
// quarter, 90 million a second, 99 s of them at 1.1 us; 90 times the cable makes it 4 us.
TEST(Facts, StepsThatMakeRunsLongAreRemarkedOn) {
  using testing::AllOf, testing::HasSubstr;
  const test::Folder folder;
  const std::string usual = test::small_bench;
  const auto bench_of = [&](const std::string& text) {
    return load_bench(folder.write("b.yaml", text), {}, "/none");
  };
  EXPECT_EQ(remark_on_steps(bench_of(usual)), "");
  const Bench quick =
      bench_of(test::replaced(usual, "{voltage: 48 V}", "{voltage: 48 V, cable_inductance: 2 nH}") +
               "dc_link: {series_resistance: 5 mohm}\n");
  EXPECT_THAT(
      remark_on_steps(quick),
      AllOf(HasSubstr("supply.cable_inductance makes a time constant of 0.044 us"),
            HasSubstr("90 million steps a second"), HasSubstr("up to some 99 times as long"),
            HasSubstr("At least 1.8e-07 H would make it 4 us")));
  const auto last = facts(quick).back();
  EXPECT_EQ(last.what, "quickest time constant");
  EXPECT_NEAR(last.value, 2e-3 / 45e-3, 1e-9);
}

TEST(Nearest, CountsInsertionsDeletionsReplacementsAndSwaps) {
  EXPECT_EQ(edit_distance("throttle", "throttle"), 0U);
  EXPECT_EQ(edit_distance("throttel", "throttle"), 1U);
  EXPECT_EQ(edit_distance("trottle", "throttle"), 1U);
  EXPECT_EQ(edit_distance("", "abc"), 3U);
  const std::vector<std::string> known{"throttle", "brake"};
  EXPECT_EQ(nearest("trotle", known), "throttle");
  EXPECT_EQ(nearest("colour", known), "");
}

}  // namespace
}  // namespace stillrotor
