// What an induction machine refuses, and bounds that must hold.
#include "plant/machine/induction.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

namespace stillrotor::plant {
namespace {

using testing::HasSubstr;

InductionParameters pump() {
  return {.pole_pairs = 2,
          .stator_resistance_ohm = 0.4,
          .stator_leakage_H = 2e-3,
          .rotor_resistance_ohm = 0.8,
          .rotor_leakage_H = 2e-3,
          .magnetising_inductance_H = 70e-3};
}

std::string said(const std::function<void(InductionParameters&)>& spoil) {
  InductionParameters p = pump();
  spoil(p);
  try {
    InductionMachine machine(p);
  } catch (const std::invalid_argument& e) {
    return e.what();
  }
  return "nothing";
}

TEST(InductionMachine, RefusesWhatNoMachineHas) {
  EXPECT_EQ(said([](auto&) {}), "nothing");
  EXPECT_THAT(said([](auto& p) { p.pole_pairs = 0; }), HasSubstr("machine.pole_pairs"));
  EXPECT_THAT(said([](auto& p) { p.stator_resistance_ohm = 0.0; }),
              HasSubstr("machine.stator_resistance"));
  EXPECT_THAT(said([](auto& p) { p.rotor_resistance_ohm = -1.0; }),
              HasSubstr("machine.rotor_resistance"));
  EXPECT_THAT(said([](auto& p) { p.stator_leakage_H = 0.0; }), HasSubstr("machine.stator_leakage"));
  EXPECT_THAT(said([](auto& p) { p.rotor_leakage_H = -1e-3; }), HasSubstr("machine.rotor_leakage"));
  EXPECT_THAT(said([](auto& p) { p.magnetising_inductance_H = 0.0; }),
              HasSubstr("machine.magnetising_inductance"));
}

TEST(InductionMachine, RefusesAMagnetisingCurveThatDoesNotRiseAndNamesTheEntry) {
  const auto curve = [](std::vector<MagnetisingPoint> points) {
    return said([&](auto& p) { p.magnetising_curve = points; });
  };
  EXPECT_EQ(curve({{2.0, 0.3}, {5.0, 0.5}, {12.0, 0.6}}), "nothing");
  EXPECT_THAT(curve({{2.0, 0.3}}), HasSubstr("1 entries; allowed 2 or more"));
  EXPECT_THAT(curve({{2.0, 0.3}, {5.0, 0.3}, {9.0, 0.6}}), HasSubstr("entry 2"));
  EXPECT_THAT(curve({{2.0, 0.3}, {5.0, 0.5}, {4.0, 0.6}}), HasSubstr("entry 3"));
  EXPECT_THAT(curve({{-2.0, 0.3}, {5.0, 0.5}}), HasSubstr("entry 1"));
  // Inductance falls to a ten-thousandth at one point.
  EXPECT_THAT(curve({{2.0, 0.3}, {2.1, 0.5}, {60.0, 0.51}}), HasSubstr("entry 2"));
}

// The current of the table at the table's flux: h(psi + L_lr i) = i. Tolerance: 512 even pieces.
TEST(MagnetisingCurve, GoesThroughItsPointsAndOnInAStraightLine) {
  const std::vector<MagnetisingPoint> points{{2.0, 0.3}, {5.0, 0.5}, {12.0, 0.6}};
  const double leakage = 2e-3;
  const MagnetisingCurve curve(points, leakage);
  for (const auto& p : points)
    EXPECT_NEAR(curve.at(p.flux_linkage_Wb + leakage * p.current_A).current_A, p.current_A,
                1e-4 * p.current_A);
  const double end = 0.6 + leakage * 12.0;
  const auto last = curve.at(end), beyond = curve.at(end + 0.1);
  EXPECT_NEAR(beyond.current_A, last.current_A + 0.1 * last.slope_A_per_Wb, 1e-12);
  EXPECT_NEAR(beyond.slope_A_per_Wb, last.slope_A_per_Wb, 1e-12);
}

// From 150 to 1 mH at one point: no slope is negative.
TEST(MagnetisingCurve, KeepsRisingThroughASuddenBend) {
  const MagnetisingCurve curve({{2.0, 0.3}, {3.0, 0.45}, {53.0, 0.5}}, 1e-3);
  double before = 0.0;
  for (int k = 1; k <= 10000; ++k) {
    const auto v = curve.at(0.6 * k / 10000.0);
    ASSERT_GT(v.current_A, before) << k;
    before = v.current_A;
  }
}

}  // namespace
}  // namespace stillrotor::plant
