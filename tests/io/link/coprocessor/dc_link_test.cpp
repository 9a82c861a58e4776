// The chip's DC link and its source alone, and what it says where they leave their range.
#include <gtest/gtest.h>

#include <cmath>

#include "io/link/coprocessor/rotor_field.h"
#include "tests/io/link/coprocessor/beside_plant.hpp"

namespace stillrotor::io::coprocessor {
namespace {

constexpr std::uint32_t low_switches = CP_UL | CP_VL | CP_WL;

/// A rotor that stands.
struct Chip {
  explicit Chip(const Plant& made) : scale(made.scale), parameters(made.parameters) {
    cp_plant_start(&plant, &parameters, 0, 0);
  }
  void step() {
    cp_plant_advance(&plant, parameters.step_ticks);
    if (cp_field_step(&plant)) cp_field_aim(&plant, 0);
  }
  void steps(int n) {
    for (; n > 0; --n) step();
  }
  double capacitor_V() const { return plant.cap / 1024.0 * scale.volt; }
  bool over_range() const { return (plant.flags & CP_PLANT_OVER_RANGE) != 0; }

  Scale scale;
  cp_plant_parameters parameters;
  cp_plant plant;
};

// 72 V to 60 V, through a time constant of nine steps. The chip looks every fourth step, first when
// four are over, and says the capacitor's voltage in the middle of a step. Its first four steps
// know no slope: (1 - 4/9) instead of exp(-4/9), 0.085 of the whole; from then on it errs by what
// the exponential bends in four steps, (4/9)^2 / 8 = 0.025, and as much by the formula of two
// looks. By the link as it stands at each look (1 - 4/9)^2 would be off by 0.1.
TEST(CoprocessorLink, FollowsItsSourceThroughAShortTimeConstant) {
  plant::DriveParameters d = mid_drive();
  d.dc_link.series_resistance_ohm = 0.0;
  d.supply.resistance_ohm = 9.0 * 10e-6 / d.dc_link.capacitance_F;
  Chip chip(converted(d, mid_format(250, 5)));
  cp_plant_supply(&chip.plant, chip.scale.volts(60.0));
  chip.steps(11);
  for (int n = 12; n <= 40; ++n) {
    chip.step();
    EXPECT_NEAR(chip.capacitor_V(), 60.0 + 12.0 * std::exp(-(n - 4.5) / 9.0), 0.05 * 12.0) << n;
  }
}

// Five units of current in steps of 16 ticks: less than the link's resolution in any single step.
TEST(CoprocessorLink, GivesTheChargeOfTheSmallestCurrents) {
  plant::DriveParameters d = mid_drive();
  d.supply.voltage_V = d.supply.resistance_ohm = 0.0;
  d.dc_link = {100e-6, 0.0};
  for (const int sign : {1, -1}) {
    Chip chip(converted(d, mid_format(16)));
    cp_plant_gates(&chip.plant, low_switches);
    chip.plant.flux[0] = sign * 6 * 32768;
    cp_plant_currents(&chip.plant);
    cp_plant_gates(&chip.plant, CP_UH | CP_VL | CP_WL);
    double drawn_C = 0.0;
    for (int n = 0; n < 1000; ++n) {
      const int before = chip.plant.link_i;
      chip.step();
      drawn_C += 0.5 * (before + chip.plant.link_i) * chip.scale.ampere * chip.scale.step_s();
    }
    EXPECT_GT(std::abs(drawn_C), 3e-6);
    EXPECT_NEAR(chip.capacitor_V(), -drawn_C / 100e-6, 0.05 * std::abs(drawn_C) / 100e-6);
  }
}

// 72 V on 20 mH for 40 ns: a thirtieth of a unit of current.
TEST(CoprocessorLink, IsNotAskedToEndACurrentSoonerThanDiodesDo) {
  plant::DriveParameters d = mid_drive();
  d.machine.inductance_d_H = d.machine.inductance_q_H = 20e-3;
  Format format = mid_format(25, 5);
  format.current_range_A = 50.0;
  Chip chip(converted(d, format));
  cp_plant_gates(&chip.plant, low_switches);
  const int flux = 3 * 32768 / 2;  // one unit and a half
  chip.plant.flux[0] = flux;
  cp_plant_currents(&chip.plant);
  for (int n = 0; n < 5; ++n) {
    cp_plant_gates(&chip.plant, 0);
    cp_plant_advance(&chip.plant, 1);
    cp_plant_gates(&chip.plant, low_switches);
    cp_plant_advance(&chip.plant, 1);
  }
  EXPECT_NEAR(chip.plant.flux[0], flux, 0.25 * flux);
}

// Below zero the bridge's diodes would hold the link; the chip does not know that, and says so.
TEST(CoprocessorLink, SaysThatItHasBeenEmptied) {
  plant::DriveParameters d = mid_drive();
  d.supply.resistance_ohm = 3.0;
  d.dc_link.capacitance_F = 330e-6;
  Chip chip(converted(d, mid_format()));
  cp_plant_supply(&chip.plant, 0);
  cp_plant_gates(&chip.plant, CP_UH | CP_VL);
  int n = 0;
  for (; n < 2000 && chip.plant.bus * chip.scale.volt > -d.bridge.diode_voltage_V; ++n) {
    EXPECT_FALSE(chip.over_range()) << n;
    chip.step();
  }
  ASSERT_LT(n, 2000);
  chip.steps(CP_REFRESH_STEPS / 2);
  EXPECT_TRUE(chip.over_range());
  // Held at every fourth step; 76 A at most, sqrt(C / 2 L) of 72 V, empty it by 0.9 V in four.
  for (n = 0; n < 2000; ++n) {
    chip.step();
    ASSERT_GT(chip.capacitor_V(), -d.bridge.diode_voltage_V - 0.9) << n;
  }
}

// 72 V / 30 mohm are more than twice the range's largest current in the chip's numbers (917 A).
TEST(CoprocessorLink, SaysThatItsSourceGivesMoreThanTheRange) {
  for (const double volts : {60.0, 0.0}) {
    Chip chip(converted(mid_drive(), mid_format()));
    cp_plant_supply(&chip.plant, chip.scale.volts(volts));
    chip.steps(200);
    EXPECT_EQ(chip.over_range(), volts == 0.0) << volts;
  }
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
