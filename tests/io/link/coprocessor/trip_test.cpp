// The comparator by itself, on pieces as long as a slow chip's steps.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/io/link/coprocessor/beside_plant.hpp"

namespace stillrotor::io::coprocessor {
namespace {

struct Outcome {
  bool tripped = false;
  double known_s = 0.0, due_s = 0.0;  // from the gate edge on
  double current_A = 0.0;             // when it was known, of phase U
};

/// A standing rotor, these gates, whole steps of 10 us; other gates from a step on.
Outcome ride(std::uint32_t watches, double limit_A, std::uint32_t gates, int steps,
             std::uint32_t later_gates = 0, int later_from = 1 << 30) {
  const Plant made = converted(stiff_mid_drive(), mid_format(250, 5));
  const cp_trip_parameters p = trip_parameters(watches, limit_A, 1e-6, made);
  cp_plant s;
  cp_plant_start(&s, &made.parameters, 0, 0);
  cp_trip t;
  cp_trip_start(&t, &p);
  Outcome o;
  for (int n = 0; n < steps && !o.tripped; ++n) {
    const auto begin = static_cast<std::uint32_t>(250 * n), end = begin + 250;
    if (n == 0 || n == later_from) {
      cp_plant_gates(&s, n == 0 ? gates : later_gates);
      o.tripped = cp_trip_jump(&t, &s, begin) != 0;
    }
    cp_plant_advance(&s, 250);
    o.tripped = o.tripped || cp_trip_look(&t, &s, end, 250) != 0;
    o.known_s = end * made.scale.tick_s;
  }
  o.due_s = t.due * made.scale.tick_s;
  o.current_A = s.i[0] * made.scale.ampere;
  return o;
}

/// When the plant's phase U, alone against the other two, reaches a current.
double crossing_s(double limit_A, bool negative) {
  plant::Drive drive(stiff_mid_drive());
  drive.start({0.0, 0.0, 72.0});
  reference::hold_electrical(drive, 0.0);
  using plant::Switch;
  drive.set_switch(negative ? Switch::UL : Switch::UH, true);
  drive.set_switch(negative ? Switch::VH : Switch::VL, true);
  drive.set_switch(negative ? Switch::WH : Switch::WL, true);
  std::int64_t at_ps = 0;
  while (std::fabs(drive.snapshot().current_A.U) < limit_A && at_ps < 1'000'000'000)
    drive.advance(at_ps += 10'000);
  return 1e-12 * static_cast<double>(at_ps);
}

constexpr std::uint32_t out_of_U = CP_UH | CP_VL | CP_WL, into_U = CP_UL | CP_VH | CP_WH;

// 0.3 A of the current's own error at 0.32 A/us, and rounding of the tick: 1 us.
TEST(Trip, LooksAStepAheadSoThatLongStepsAreInTime) {
  const double crossing = crossing_s(60.0, false);
  const Outcome o = ride(CP_TRIP_LINK, 60.0, out_of_U, 40);
  ASSERT_TRUE(o.tripped);
  EXPECT_LE(o.known_s, crossing);
  EXPECT_NEAR(o.due_s, crossing + 1e-6, 1e-6);
}

TEST(Trip, WatchesPhasesBothWays) {
  for (const bool negative : {false, true}) {
    const double crossing = crossing_s(60.0, negative);
    const Outcome o = ride(CP_TRIP_PHASES, 60.0, negative ? into_U : out_of_U, 40);
    ASSERT_TRUE(o.tripped);
    EXPECT_NEAR(o.due_s, crossing + 1e-6, 1e-6);
  }
}

TEST(Trip, SeesTheLinksCurrentOnlyThroughTheHighSwitches) {
  EXPECT_TRUE(ride(CP_TRIP_LINK, 60.0, into_U, 40).tripped);  // V and W carry it out
  const Outcome o = ride(CP_TRIP_LINK, 60.0, out_of_U, 40, CP_UL | CP_VL | CP_WL, 10);
  EXPECT_FALSE(o.tripped);  // turned round at 32 A
  EXPECT_GT(o.current_A, 20.0);
}

TEST(Trip, StaysStillWhenItWatchesNothing) {
  EXPECT_FALSE(ride(CP_TRIP_NONE, 60.0, out_of_U, 40).tripped);
  EXPECT_FALSE(ride(CP_TRIP_NONE, 60.0, CP_UH | CP_UL, 40).tripped);
}

TEST(Trip, TripsOnAShortWhateverTheLimit) {
  const Outcome o = ride(CP_TRIP_PHASES, 200.0, CP_UH | CP_UL, 1);
  ASSERT_TRUE(o.tripped);
  EXPECT_NEAR(o.due_s, 1e-6, 1e-12);
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
