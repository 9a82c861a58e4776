// Quantities as people write them.
// Source of the factors: SI Brochure, 9th edition (2019): table 7 (prefixes), table 8 (min, h,
// deg), table 4 (derived units with special names). 1 rpm = 2 pi/60 rad/s follows from 1 turn = 2
// pi rad.
#include "emulator/bench/units.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numbers>

namespace stillrotor {
namespace {

using testing::HasSubstr;
constexpr double pi = std::numbers::pi;

double si(std::string_view text, Family family) {
  const Conversion conversion = to_si(text, family);
  EXPECT_EQ(conversion.problem, "") << text;
  return conversion.si;
}

std::string problem(std::string_view text, Family family) { return to_si(text, family).problem; }

// Exact: the nearest double to the decimal number, as a person would type it in SI.
TEST(Units, DecimalPrefixesGiveTheNearestDouble) {
  EXPECT_EQ(si("12 mohm", Family::resistance), 0.012);
  EXPECT_EQ(si("1.1 mohm", Family::resistance), 0.0011);
  EXPECT_EQ(si("35 mohm", Family::resistance), 0.035);
  EXPECT_EQ(si("150 uH", Family::inductance), 150e-6);
  EXPECT_EQ(si("470 nF", Family::capacitance), 470e-9);
  EXPECT_EQ(si("16 MHz", Family::frequency), 16e6);
  EXPECT_EQ(si("7.8 kHz", Family::frequency), 7800.0);
  EXPECT_EQ(si("20 mV/A", Family::gain), 0.02);
  EXPECT_EQ(si("300 ms", Family::time), 0.3);
}

TEST(Units, SpellingsOfOneUnitAgree) {
  EXPECT_EQ(si("12 \u00b5s", Family::time), 12e-6);
  EXPECT_EQ(si("12 \u03bcs", Family::time), 12e-6);
  EXPECT_EQ(si("12us", Family::time), 12e-6);
  EXPECT_EQ(si(" 5 \u03a9 ", Family::resistance), 5.0);
  EXPECT_EQ(si("+5 Ohm", Family::resistance), 5.0);
  EXPECT_EQ(si("2 Nm", Family::torque), 2.0);
  EXPECT_EQ(si("2 N m", Family::torque), 2.0);
  EXPECT_EQ(si("2 N*m", Family::torque), 2.0);
  EXPECT_EQ(si("3 kg m^2", Family::inertia), 3.0);
  EXPECT_EQ(si("3 kg m2", Family::inertia), 3.0);
  EXPECT_EQ(si("3 V s", Family::flux_linkage), 3.0);
  EXPECT_EQ(si("4 /s", Family::slew), 4.0);
  EXPECT_EQ(si("25 Hz/s", Family::frequency_slope), 25.0);
}

// By hand: 300 turns a minute = 5 turns a second = 10 pi rad/s. Tolerance: rounding only.
TEST(Units, TurnsAndRadiansMeetWhereTheTradeMixesThem) {
  EXPECT_DOUBLE_EQ(si("300 rpm", Family::rotational_speed), 10.0 * pi);
  EXPECT_DOUBLE_EQ(si("5 turn/s", Family::rotational_speed), 10.0 * pi);
  EXPECT_DOUBLE_EQ(si("31.4 rad/s", Family::rotational_speed), 31.4);
  EXPECT_DOUBLE_EQ(si("180 deg", Family::angle), pi);
  EXPECT_DOUBLE_EQ(si("0.5 turn", Family::angle), pi);
  // 1 V per 1000 rpm = 1 V / (1000 * 2 pi / 60 rad/s)
  EXPECT_DOUBLE_EQ(si("1 V/krpm", Family::speed_constant), 60.0 / (2000.0 * pi));
  EXPECT_DOUBLE_EQ(si("2 N m s", Family::viscous_friction), 2.0);
}

TEST(Units, AFrequencyIsNeverARotationalSpeed) {
  EXPECT_THAT(problem("50 Hz", Family::rotational_speed),
              HasSubstr("\"50 Hz\" is a frequency; a rotational speed is due, in rpm, rad/s"));
  EXPECT_THAT(problem("50 rpm", Family::frequency), HasSubstr("is a rotational speed"));
  EXPECT_THAT(problem("50 rad/s", Family::frequency), HasSubstr("is a rotational speed"));
  EXPECT_EQ(problem("50 Hz", Family::frequency), "");
}

TEST(Units, AReciprocalIsNotItsInverse) {
  EXPECT_THAT(problem("20 ms", Family::frequency), HasSubstr("is a time; a frequency is due"));
  EXPECT_THAT(problem("50 Hz", Family::time), HasSubstr("is a frequency; a time is due"));
}

TEST(Units, ABareNumberIsRefusedWhereADimensionIsDue) {
  EXPECT_THAT(problem("42", Family::resistance),
              HasSubstr("\"42\" has no unit; a resistance is due, in ohm, mohm"));
  EXPECT_EQ(problem("42 ohm", Family::resistance), "");
}

TEST(Units, UnknownUnitsAndForeignGrammarAreRefused) {
  for (const char* text : {"12 foo", "12 s since 2000-01-01", "12 s @ 3", "12 lg(re 1 mW)",
                           "12 V 3", "12 mmohm", "12 V;", "12 V/0"})
    EXPECT_THAT(problem(text, Family::voltage), HasSubstr("due")) << text;
  EXPECT_EQ(problem("12 V", Family::voltage), "");
}

TEST(Units, OnlyFiniteNumbersPass) {
  for (const char* text : {"nan V", "inf V", "1e999 V", "-inf V", "", " ", "V", "0x10 V", "--1 V"})
    EXPECT_NE(problem(text, Family::voltage), "") << text;
  EXPECT_EQ(si("-1e3 V", Family::voltage), -1000.0);
}

TEST(Units, RatiosComeAsNumberPercentOrFraction) {
  EXPECT_EQ(si("0.05", Family::ratio), 0.05);
  EXPECT_EQ(si("6 %", Family::ratio), 0.06);
  EXPECT_EQ(si("-6%", Family::ratio), -0.06);
  EXPECT_EQ(si("1/20", Family::ratio), 0.05);
  EXPECT_NE(problem("1/0", Family::ratio), "");
  EXPECT_NE(problem("5 V", Family::ratio), "");
}

// Shortest decimal text of a double reads back to that double (C++ std::to_chars).
TEST(Units, SiTextReadsBackToTheSameNumber) {
  for (const double value : {0.1, 1.0 / 3.0, 2.0943951023931953, 1e-12, 123456.789})
    for (int k = 0; k <= static_cast<int>(Family::heat_capacity); ++k) {
      const auto family = static_cast<Family>(k);
      EXPECT_EQ(si(from_si(value, family), family), value) << from_si(value, family);
    }
}

// SI Brochure, 9th edition, table 4: t/degC = T/K - 273.15. Exact where the sum is.
TEST(Units, TemperaturesCountFromTheirOwnZero) {
  EXPECT_EQ(si("0 degC", Family::temperature), 273.15);
  EXPECT_EQ(si("20 degC", Family::temperature), 293.15);
  EXPECT_DOUBLE_EQ(si("-40 \u00b0C", Family::temperature), 233.15);
  EXPECT_EQ(si("300 K", Family::temperature), 300.0);
  EXPECT_THAT(problem("20 deg", Family::temperature), HasSubstr("is an angle; a temperature"));
  EXPECT_THAT(problem("20", Family::temperature), HasSubstr("has no unit; a temperature is due"));
}

// A share per degree is a share per kelvin: differences have no zero.
TEST(Units, ATemperatureCoefficientIsAShareOfADifference) {
  EXPECT_EQ(si("0.393 %/K", Family::per_kelvin), 0.00393);
  EXPECT_EQ(si("-0.11 %/degC", Family::per_kelvin), -0.0011);
  EXPECT_EQ(si("0.00393 /K", Family::per_kelvin), 0.00393);
}

TEST(Units, AnyFamilyIsFoundFromItsUnit) {
  std::string unit;
  EXPECT_EQ(to_any("60 mA", unit).si, 0.06);
  EXPECT_EQ(unit, "A");
  EXPECT_EQ(to_any("60", unit).si, 60.0);
  EXPECT_EQ(unit, "");
  EXPECT_NE(to_any("60 apples", unit).problem, "");
}

}  // namespace
}  // namespace stillrotor
