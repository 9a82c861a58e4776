// Current control alone, on an averaged winding without delay; most torque per ampere.
#include "io/standin/current_control.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace stillrotor::io::standin {
namespace {

constexpr WindingBelief winding{0.05, 150e-6, 250e-6, 12e-3};
constexpr double period_s = 1.0 / 16e3;

/// dq winding on fine explicit steps; voltages held for a period.
struct Winding {
  double id = 0.0, iq = 0.0;
  void hold(Vector v, double w) {
    constexpr int steps = 100;
    for (int k = 0; k < steps; ++k) {
      const double dt = period_s / steps;
      const double did = (v.x - winding.resistance_ohm * id + w * winding.inductance_q_H * iq) /
                         winding.inductance_d_H;
      const double diq = (v.y - winding.resistance_ohm * iq -
                          w * (winding.inductance_d_H * id + winding.flux_linkage_Wb)) /
                         winding.inductance_q_H;
      id += dt * did;
      iq += dt * diq;
    }
  }
};

// Pole-zero gains make a first-order lag of 1 / (2 pi 500 Hz) = 318 us in continuous time. Sampled,
// with the voltage held for a period T, the pole lies at 1 - 2 pi f T = 0.8037, that is a time
// constant of T / -ln 0.8037 = 286.0 us. Tolerance 2 %: the 63 % point is found between samples by
// a straight line.
TEST(CurrentControl, AnswersAStepWithTheTimeConstantOfItsBandwidth) {
  for (const double w : {0.0, 600.0}) {
    CurrentControl control{winding, 500.0, period_s};
    Winding m;
    for (int k = 0; k < 400; ++k) m.hold(control.step({0, 0}, {m.id, m.iq}, w, 1e3), w);
    ASSERT_NEAR(m.iq, 0.0, 0.05);
    double t = 0.0, before = m.iq;
    constexpr double aim = 20.0 * 0.632120559;
    while (m.iq < aim && t < 5e-3) {
      before = m.iq;
      m.hold(control.step({0, 20}, {m.id, m.iq}, w, 1e3), w);
      t += period_s;
    }
    const double crossing = t - period_s * (m.iq - aim) / (m.iq - before);
    EXPECT_NEAR(crossing, 286.0e-6, 0.02 * 286e-6) << w << " rad/s";
    for (int k = 0; k < 400; ++k) m.hold(control.step({0, 20}, {m.id, m.iq}, w, 1e3), w);
    EXPECT_NEAR(m.iq, 20.0, 0.02);
    EXPECT_NEAR(m.id, 0.0, 0.02);
  }
}

TEST(CurrentControl, NeverAsksForMoreThanTheVoltageLimit) {
  CurrentControl control{winding, 500.0, period_s};
  for (int k = 0; k < 100; ++k) {
    const Vector v = control.step({-30, 40}, {k * 0.3, -k * 0.2}, 800.0, 5.0);
    EXPECT_LE(std::hypot(v.x, v.y), 5.0 + 1e-12);
  }
  EXPECT_GT(control.demand_V(), 5.0);
}

// Held at the limit for 200 ms, then asked for what fits: without anti-windup the integrator would
// have gathered 0.05 * 2 pi 500 * 30 A * 0.2 s = 940 V; with it the answer settles like any step,
// within ten time constants of the winding's own L / R = 5 ms.
TEST(CurrentControl, RecoversFromTheLimitWithoutWindup) {
  CurrentControl control{winding, 500.0, period_s};
  Winding m;
  for (int k = 0; k < 3200; ++k) m.hold(control.step({0, 60}, {m.id, m.iq}, 0.0, 1.0), 0.0);
  EXPECT_NEAR(m.iq, 20.0, 0.1);  // 1 V over 50 mohm
  for (int k = 0; k < 800; ++k) m.hold(control.step({0, 5}, {m.id, m.iq}, 0.0, 1.0), 0.0);
  EXPECT_NEAR(m.iq, 5.0, 0.05);
}

// Against a grid over the angle of the current vector: torque ~ psi i_q + (L_d - L_q) i_d i_q.
TEST(MostTorquePerAmpere, BeatsEveryOtherAngleOfTheSameCurrent) {
  for (const WindingBelief& w : {winding, WindingBelief{0.05, 250e-6, 150e-6, 12e-3},
                                 WindingBelief{0.05, 150e-6, 150e-6, 12e-3}})
    for (const double length : {1.0, 20.0, 80.0, -40.0}) {
      const auto torque = [&](double d, double q) {
        return q * (w.flux_linkage_Wb + (w.inductance_d_H - w.inductance_q_H) * d);
      };
      const Vector best = most_torque_per_ampere(length, w);
      EXPECT_NEAR(std::hypot(best.x, best.y), std::abs(length), 1e-9);
      const double sign = length < 0 ? -1.0 : 1.0;
      for (int k = 0; k < 3600; ++k) {
        const double a = k * pi / 1800.0;
        EXPECT_GE(sign * torque(best.x, best.y) + 1e-9,
                  sign * torque(std::abs(length) * std::cos(a), std::abs(length) * std::sin(a)));
      }
    }
}

TEST(Transforms, TurnAheadLikeTheLibraryDoes) {
  for (double by = -0.9; by < 0.95; by += 0.05) {
    const Direction d = ahead({std::cos(1.0), std::sin(1.0)}, by);
    EXPECT_NEAR(d.cos, std::cos(1.0 + by), 3e-6);
    EXPECT_NEAR(d.sin, std::sin(1.0 + by), 3e-6);
  }
}

// Convention by hand: 10 A on d with the magnet at 90 electrical degrees lies on beta, so V carries
// +8.66 A, W -8.66 A, U nothing.
TEST(Transforms, PutDOnTheMagnetAxis) {
  const ThreePhases i = to_phases(to_stator({10.0, 0.0}, {0.0, 1.0}));
  EXPECT_NEAR(i.u, 0.0, 1e-12);
  EXPECT_NEAR(i.v, 8.660254, 1e-6);
  EXPECT_NEAR(i.w, -8.660254, 1e-6);
  const Vector back = to_rotor(from_phases(i.u, i.v), {0.0, 1.0});
  EXPECT_NEAR(back.x, 10.0, 1e-12);
  EXPECT_NEAR(back.y, 0.0, 1e-12);
}

}  // namespace
}  // namespace stillrotor::io::standin
