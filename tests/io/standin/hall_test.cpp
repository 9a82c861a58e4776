// Hall codes to sectors and the commutation table.
#include "io/standin/hall.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <set>

namespace stillrotor::io::standin {
namespace {

constexpr double pi = 3.14159265358979323846;

/// The convention itself, line k high within a quarter turn of k * spacing.
bool line_high(int k, double theta_deg, double spacing_deg) {
  return std::cos((theta_deg - k * spacing_deg) * pi / 180.0) > 0.0;
}

int sector_at(double theta_deg, const HallWiring& wiring) {
  return hall_sector(line_high(0, theta_deg, wiring.spacing_deg),
                     line_high(1, theta_deg, wiring.spacing_deg),
                     line_high(2, theta_deg, wiring.spacing_deg), wiring);
}

TEST(HallSector, IsCentredOnMultiplesOfSixtyDegrees) {
  for (const double spacing : {120.0, 60.0})
    for (int tenth = 0; tenth < 3600; tenth += 7) {
      const double theta = 0.1 * tenth + 0.05;
      const int expected = static_cast<int>(std::floor((theta + 30.0) / 60.0)) % 6;
      ASSERT_EQ(sector_at(theta, {.spacing_deg = spacing}), expected)
          << theta << " deg, spacing " << spacing;
    }
}

// At 120 degrees spacing 000 and 111 come from no rotor position; at 60 degrees 010 and 101 do not:
// V lies between U and W there.
TEST(HallSector, RefusesCodesThatNoRotorPositionGives) {
  EXPECT_EQ(hall_sector(false, false, false, {}), no_sector);
  EXPECT_EQ(hall_sector(true, true, true, {}), no_sector);
  EXPECT_EQ(hall_sector(true, false, true, {.spacing_deg = 60.0}), no_sector);
  EXPECT_EQ(hall_sector(false, true, false, {.spacing_deg = 60.0}), no_sector);
  EXPECT_EQ(hall_sector(true, true, true, {.spacing_deg = 60.0}), 1);  // U -30..90, all three
}

TEST(HallSector, TakesEachOrderAndPolarityOfTheWires) {
  constexpr int order[6][3] = {{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}};
  for (unsigned permutation = 0; permutation < 6; ++permutation)
    for (const bool inverted : {false, true})
      for (int sector = 0; sector < 6; ++sector) {
        bool at_connector[3];  // signal k arrives on connector line order[permutation][k]
        for (int k = 0; k < 3; ++k)
          at_connector[order[permutation][k]] = line_high(k, 60.0 * sector, 120.0) != inverted;
        EXPECT_EQ(hall_sector(at_connector[0], at_connector[1], at_connector[2],
                              {.permutation = permutation, .inverted = inverted}),
                  sector);
      }
}

// Second derivation, by search: of the six vectors "in at a, out at b" the one with the largest
// torque per ampere, (e_a - e_b) / omega with e_k = -omega psi sin(theta - 120 deg k), at the
// sector's centre and for the whole sector the best of all.
TEST(Commutation, GivesTheMostTorqueOfTheSixVectorsThroughoutItsSector) {
  const auto torque = [](int in, int out, double theta_deg) {
    const auto shape = [&](int k) { return -std::sin((theta_deg - 120.0 * k) * pi / 180.0); };
    return shape(in) - shape(out);
  };
  for (int sector = 0; sector < 6; ++sector)
    for (double within = -29.9; within < 30.0; within += 2.99) {
      const double theta = 60.0 * sector + within;
      const Commutation forward = commutation(sector, +1), backward = commutation(sector, -1);
      for (int in = 0; in < 3; ++in)
        for (int out = 0; out < 3; ++out) {
          if (in == out) continue;
          EXPECT_GE(torque(forward.high, forward.low, theta), torque(in, out, theta) - 1e-12);
          EXPECT_LE(torque(backward.high, backward.low, theta), torque(in, out, theta) + 1e-12);
        }
      EXPECT_GT(torque(forward.high, forward.low, theta),
                1.49);  // sqrt 3 cos 30 deg = 1.5 at worst
    }
}

// By hand, at 0 degrees: U's flux is at its crest, its EMF zero; V's EMF is +0.866, W's -0.866.
TEST(Commutation, FeedsVToWWhenTheMagnetPointsAtU) {
  EXPECT_EQ(commutation(0, +1).high, 1);
  EXPECT_EQ(commutation(0, +1).low, 2);
}

TEST(Commutation, ChangesOneLegAtATimeFromSectorToSector) {
  for (int sector = 0; sector < 6; ++sector) {
    const Commutation a = commutation(sector, 1), b = commutation((sector + 1) % 6, 1);
    EXPECT_NE(a.high == b.high, a.low == b.low);
  }
}

}  // namespace
}  // namespace stillrotor::io::standin
