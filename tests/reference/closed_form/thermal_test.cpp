// Heat paths: what resistances and capacities of heat say.
#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>

#include "plant/thermal/thermal.hpp"

namespace stillrotor::reference {
namespace {

using plant::HeatInput;
using plant::HeatNode;
using plant::ThermalNetwork;
using plant::ThermalParameters;
using plant::ThermalState;

constexpr double tick_s = 1e-3;

// One body on one path: dT = P R (1 - exp(-t / RC)). Source: textbook (first-order temperature
// rise), from memory. By hand: 50 W on 0.8 K/W: 40 K in the end, 25.285 K after one RC of 200 s.
TEST(HeatPaths, WarmOneBodyExponentially) {
  const ThermalParameters p;
  const ThermalNetwork network(p, tick_s);
  ThermalState s = network.at_rest();
  HeatInput in;
  in.leg_J = {50.0 * tick_s, 0.0, 0.0};
  for (int n = 1; n <= 200'000; ++n) {
    network.advance(s, in);
    if (n % 50'000 != 0) continue;
    const double expected = 298.15 + 40.0 * -std::expm1(-n * tick_s / 200.0);
    EXPECT_NEAR(s.at(HeatNode::heatsink), expected, 1e-8);
  }
  EXPECT_NEAR(s.at(HeatNode::heatsink) - 298.15, 25.2848, 1e-4);
}

// Surroundings that jump from 25 to 45 degC after one time constant of 200 s: the heatsink without
// heat follows with 1 - exp(-t / RC) from there on. By hand: 12.642 K after another 200 s.
TEST(HeatPaths, FollowTheirSurroundings) {
  const ThermalNetwork network({}, tick_s);
  ThermalState s = network.at_rest();
  for (int n = 0; n < 200'000; ++n) network.advance(s, {});
  EXPECT_NEAR(s.at(HeatNode::heatsink), 298.15, 1e-9);
  s.ambient_K = 318.15;
  EXPECT_NEAR(network.to_ambient_W(s), -20.0 / 0.8 - 20.0 / 0.8, 1e-9);
  for (int n = 0; n < 200'000; ++n) network.advance(s, {});
  EXPECT_NEAR(s.at(HeatNode::heatsink) - 298.15, -20.0 * std::expm1(-1.0), 1e-8);
}

// Steady state of the machine: every watt leaves through the housing, R = 0.8 K/W; winding and
// magnets stand above it by their own share. By hand, 80 W copper, 10 W magnets, 30 W iron:
// housing 120 * 0.8 = 96 K, winding + 80 * 0.5 = 136 K, magnets + 10 * 2 = 116 K over ambient.
TEST(HeatPaths, SettleWhereEveryWattLeaves) {
  ThermalParameters p;
  p.winding_capacity_J_per_K = p.magnet_capacity_J_per_K = 0.5;  // sooner there
  p.housing_capacity_J_per_K = 1.0;
  const ThermalNetwork network(p, tick_s);
  ThermalState s = network.at_rest();
  for (int n = 0; n < 60'000; ++n)
    network.advance(s, {80.0 * tick_s, 10.0 * tick_s, 30.0 * tick_s, {}});
  EXPECT_NEAR(s.at(HeatNode::housing) - p.ambient_K, 96.0, 1e-6);
  EXPECT_NEAR(s.at(HeatNode::winding) - p.ambient_K, 136.0, 1e-6);
  EXPECT_NEAR(s.at(HeatNode::magnet) - p.ambient_K, 116.0, 1e-6);
  EXPECT_NEAR(network.to_ambient_W(s), 120.0, 1e-5);
}

// Transient thermal impedance in Foster form: Z(t) = sum r_i (1 - exp(-t / tau_i)). Source: common
// practice of data sheets. The heatsink is held by a capacity of 1e9 J/K.
TEST(HeatPaths, FollowTheFosterPairsOfAJunction) {
  ThermalParameters p;
  p.heatsink_capacity_J_per_K = 1e9;
  p.junction = {{{0.11, 0.7e-3}, {0.25, 12e-3}, {0.2, 90e-3}, {0.0, 1.0}}};
  const ThermalNetwork network(p, tick_s);
  ThermalState s = network.at_rest();
  HeatInput in;
  in.leg_J[1] = 40.0 * tick_s;
  for (int n = 1; n <= 300; ++n) {
    network.advance(s, in);
    const double t = n * tick_s;
    const double z = 0.11 * -std::expm1(-t / 0.7e-3) + 0.25 * -std::expm1(-t / 12e-3) +
                     0.2 * -std::expm1(-t / 90e-3);
    ASSERT_NEAR(s.junction_K(1) - s.at(HeatNode::heatsink), 40.0 * z, 1e-10) << t;
  }
  EXPECT_EQ(s.junction_K(0), s.at(HeatNode::heatsink)) << "a leg warms itself only";
}

// Heat in = heat stored + heat that left, the latter by the trapezoidal rule over the ticks.
TEST(HeatPaths, KeepEveryJoule) {
  ThermalParameters p;
  p.winding_capacity_J_per_K = 3.0;
  p.housing_capacity_J_per_K = 10.0;
  p.heatsink_capacity_J_per_K = 2.0;
  const ThermalNetwork network(p, tick_s);
  ThermalState s = network.at_rest();
  double given_J = 0.0, left_J = 0.0, before_W = 0.0;
  for (int n = 0; n < 5000; ++n) {
    const double power = n < 2500 ? 300.0 : 20.0;
    const HeatInput in{power * tick_s, 5.0 * tick_s, 40.0 * tick_s, {3e-3, 4e-3, 5e-3}};
    given_J += in.winding_J + in.magnet_J + in.housing_J + in.leg_J[0] + in.leg_J[1] + in.leg_J[2];
    network.advance(s, in);
    const double now_W = network.to_ambient_W(s);
    left_J += 0.5 * tick_s * (before_W + now_W);  // smooth: trapezoid, error below 1e-7 of it
    before_W = now_W;
  }
  EXPECT_NEAR((network.stored_J(s) + left_J) / given_J, 1.0, 1e-7);
}

TEST(HeatPaths, RefuseABodyThatIsTooSmallForTheTick) {
  ThermalParameters p;
  p.winding_capacity_J_per_K = 0.01;  // 0.01 J/K * 0.5 K/W = 5 ms
  EXPECT_THROW(ThermalNetwork(p, tick_s), std::invalid_argument);
  p = {};
  p.housing_to_ambient_K_per_W = 0.0;
  EXPECT_THROW(ThermalNetwork(p, tick_s), std::invalid_argument);
}

}  // namespace
}  // namespace stillrotor::reference
