// The table of docs/performance.md: what stamps' errors cost in phase current.
#include "tests/emulator/rehearsal/stamp_errors.hpp"

#include <gtest/gtest.h>

#include <ostream>
#include <string>

namespace stillrotor::test {
namespace {

using Kind = StampError::Kind;

struct Row {
  std::string name;
  StampError error;
  // Measured by a prototype of the plant at 200 Hz and 50 Hz, in %: A replayed, A closed, B, B.
  double replayed_A, closed_A, replayed_B, closed_B;
};
void PrintTo(const Row& row, std::ostream* to) { *to << row.name; }

class StampErrorTable : public testing::TestWithParam<Row> {};

// Tolerance: a factor of 1.5 either way. Where a grid of stamps beats with the PWM the error is
// that of the very speed: within 2 % of it single entries move by a factor of two.
TEST_P(StampErrorTable, AgreesWithThePrototypeWithinAFactorOfOneAndAHalf) {
#ifdef __SANITIZE_ADDRESS__
  GTEST_SKIP() << "a minute of the same steps; the build without sanitizers runs it";
#endif
  const auto agrees = [](const char* what, double percent, double prototype_percent) {
    testing::Test::RecordProperty(what, std::to_string(percent));
    EXPECT_LT(percent, 1.5 * prototype_percent) << what;
    EXPECT_GT(percent, prototype_percent / 1.5) << what;
  };
  const Row& row = GetParam();
  agrees("A replayed", StampErrors::percent(row.error, point_A, false), row.replayed_A);
  agrees("B replayed", StampErrors::percent(row.error, point_B, false), row.replayed_B);
  agrees("B closed", StampErrors::percent(row.error, point_B, true), row.closed_B);
  if (row.closed_A > 0.0)
    agrees("A closed", StampErrors::percent(row.error, point_A, true), row.closed_A);
}

// closed_A of 3 us: 8.5 % in the prototype. Not held on 48 V: gaps and overlaps of 3 us cost so
// much voltage there that the loop, 17 V of whose 25 V the machine takes, runs into its limit and
// loses the current. With room it is held, see below.
INSTANTIATE_TEST_SUITE_P(
    Of, StampErrorTable,
    testing::Values(Row{"Quantised20ns", {Kind::quantised, 20e-9}, 0.06, 0.02, 0.14, 0.06},
                    Row{"Quantised100ns", {Kind::quantised, 100e-9}, 0.28, 0.10, 0.98, 0.46},
                    Row{"Sampled1us", {Kind::sampled, 1e-6}, 3.5, 1.1, 83.0, 5.4},
                    Row{"Sampled5us", {Kind::sampled, 5e-6}, 20.0, 5.5, 390.0, 21.0},
                    Row{"Jittered100ns", {Kind::jittered, 0.1e-6}, 0.93, 0.34, 3.8, 1.2},
                    Row{"Jittered1us", {Kind::jittered, 1e-6}, 14.0, 2.9, 84.0, 11.0},
                    Row{"Jittered3us", {Kind::jittered, 3e-6}, 63.0, 0.0, 97.0, 27.0}),
    [](const auto& row) { return row.param.name; });

// The error grows with the bus, as every term of its law does: 8.5 % * 72 V / 48 V.
TEST(StampErrors, ThreeMicrosecondsCostThePrototypesEightPerCentWhereTheLoopHasRoom) {
  WorkingPoint roomy = point_A;
  roomy.bus_V = 72.0;
  const double percent = StampErrors::percent({Kind::jittered, 3e-6}, roomy, true);
  EXPECT_LT(percent, 1.5 * 8.5 * 72.0 / 48.0);
  EXPECT_GT(percent, 8.5 * 72.0 / 48.0 / 1.5);
}

TEST(StampErrors, NoErrorCostsNothing) { EXPECT_EQ(StampErrors::percent({}, point_A, true), 0.0); }

}  // namespace
}  // namespace stillrotor::test
