// Temperature sensors against the tables of their standards.
#include "plant/sensors/temperature.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace stillrotor::reference {
namespace {

using namespace plant;

// Source: IEC 60751, table of a 100 ohm platinum resistor, two decimals, times ten; from memory.
// Tolerance: the table's last digit.
TEST(Platinum, FollowsTheTableOfIec60751) {
  const TemperatureSensorParameters pt1000{.kind = TemperatureSensing::platinum,
                                           .nominal_ohm = 1000.0};
  const double table[][2] = {{-200, 185.2}, {-100, 602.6}, {-50, 803.1},  {0, 1000.0},
                             {25, 1097.3},  {100, 1385.1}, {150, 1573.3}, {200, 1758.6},
                             {400, 2470.9}, {850, 3904.8}};
  for (const auto& [celsius, ohm] : table)
    EXPECT_NEAR(sensor_ohm(pt1000, celsius), ohm, 0.06) << celsius;
  // The mean slope between 0 and 100 deg C, by which the standard names the metal: 3.851e-3 / K.
  EXPECT_NEAR((sensor_ohm(pt1000, 100.0) / 1000.0 - 1.0) / 100.0, 3.851e-3, 1e-6);
}

// Source: definition of B between two temperatures, B = ln(R_1 / R_2) / (1/T_1 - 1/T_2).
// By hand at 85 deg C, B 3435 K: 3435 (1/358.15 - 1/298.15) = -1.930085; 10 kohm e^-1.930085 =
// 1451.4 ohm. Tolerance: digits shown.
TEST(Ntc, HasTheResistanceOfItsBEquation) {
  const TemperatureSensorParameters ntc{
      .kind = TemperatureSensing::ntc, .nominal_ohm = 10e3, .b_K = 3435.0};
  EXPECT_NEAR(sensor_ohm(ntc, 25.0), 10e3, 1e-9);
  EXPECT_NEAR(sensor_ohm(ntc, 85.0), 1451.4, 0.1);
  for (const double celsius : {-40.0, 0.0, 60.0, 150.0})
    EXPECT_NEAR(
        std::log(sensor_ohm(ntc, celsius) / 10e3) / (1.0 / (celsius + 273.15) - 1.0 / 298.15),
        3435.0, 1e-6);
}

// By hand: 1 + 7.88e-3 * 75 + 1.937e-5 * 75^2 = 1 + 0.591 + 0.10895625 = 1.69995625 at 100 deg C;
// the coefficients are those of common silicon sensors, whose resistance at 100 deg C is 1.70 times
// that at 25 (common practice).
TEST(Silicon, RisesWithAParabola) {
  const TemperatureSensorParameters silicon{.kind = TemperatureSensing::silicon,
                                            .nominal_ohm = 1000.0};
  EXPECT_NEAR(sensor_ohm(silicon, 25.0), 1000.0, 1e-9);
  EXPECT_NEAR(sensor_ohm(silicon, 100.0), 1699.95625, 1e-8);
}

// By hand: a sensor as large as its pull-up halves the supply; NTC 10 kohm with 4.7 kohm at 5 V:
// 5 * 10 / 14.7 = 3.401361 V.
TEST(TemperatureDivider, SharesTheSupplyWithThePullUp) {
  TemperatureSensorParameters ntc{.kind = TemperatureSensing::ntc, .nominal_ohm = 10e3};
  EXPECT_NEAR(temperature_sense_V(ntc, 25.0), 3.401361, 1e-6);
  ntc.pull_up_ohm = 10e3;
  ntc.supply_V = 3.3;
  EXPECT_NEAR(temperature_sense_V(ntc, 25.0), 1.65, 1e-12);
  EXPECT_LT(temperature_sense_V(ntc, 26.0), 1.65);  // an NTC's voltage falls when it gets warmer
}

}  // namespace
}  // namespace stillrotor::reference
