// Two speeds on one shaft: what holds for every coupling, whatever its equations.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;

DriveParameters with(Coupling coupling) {
  DriveParameters d;
  d.machine.inductance_q_H = 250e-6;
  d.shaft.coupling = coupling;
  d.shaft.inertia_kg_m2 = 3e-4;
  d.shaft.load_inertia_kg_m2 = 2e-3;
  d.shaft.cart_mass_kg = 0.1;
  d.shaft.rolling_resistance = 0.1;
  d.shaft.coulomb_friction_Nm = 0.05;
  d.shaft.drag_area_m2 = 0.1;
  d.shaft.stiffness_Nm_per_rad = 300.0;
  d.hall.fitted = true;
  d.encoder.fitted = true;
  return d;
}

void random_gates(Drive& drive, std::mt19937& rng) {
  for (int leg = 0; leg < 3; ++leg) {
    const auto state = rng() % 3;
    drive.set_switch(static_cast<Switch>(2 * leg), state == 1);
    drive.set_switch(static_cast<Switch>(2 * leg + 1), state == 2);
  }
}

void random_inputs(Drive& drive, std::mt19937& rng) {
  const auto between = [&](double a, double b) {
    return std::uniform_real_distribution<>(a, b)(rng);
  };
  drive.set_load_torque_Nm({between(-2.0, 2.0), between(-200.0, 200.0)});
  drive.set_wind_m_s({between(-10.0, 10.0), 0.0});
  drive.set_pedal_Nm({between(0.0, 2.0), 0.0});
}

// No wind and a breath of it are the same equations in the fast steps and in the general one.
TEST(Motion, FastAndGeneralShaftAgree) {
  DriveParameters p = with(Coupling::rigid);
  p.shaft.constant_torque_Nm = 0.02;
  Drive fast(p), general(p);
  for (Drive* d : {&fast, &general}) d->start({60.0, 0.0, -1.0});
  general.set_wind_m_s({1e-12, 0.0});
  std::mt19937 rng(3), same(3);
  for (int k = 0; k < 3000; ++k) {
    random_gates(fast, rng);
    random_gates(general, same);
    for (Drive* d : {&fast, &general})
      while (d->advance((k + 1) * 5 * us).edge) {
      }
  }
  EXPECT_NEAR(fast.state().omega_m_rad_s, general.state().omega_m_rad_s, 1e-6);
  EXPECT_NEAR(fast.snapshot().theta_m_rad, general.snapshot().theta_m_rad, 1e-7);
}

class EveryCoupling : public testing::TestWithParam<Coupling> {};

// Whatever the gates do, no sensor edge may come before the promised moment.
TEST_P(EveryCoupling, KeepsTheQuietBound) {
  std::mt19937 rng(11);
  for (int trial = 0; trial < 100; ++trial) {
    DriveParameters p = with(GetParam());
    p.shaft.inertia_kg_m2 = std::uniform_real_distribution<>(1e-5, 1e-3)(rng);
    if (trial % 2 && GetParam() != Coupling::elastic) p.shaft.gear_efficiency = 0.7;
    Drive drive(p);
    drive.start({std::uniform_real_distribution<>(-100.0, 100.0)(rng), 0.3, -1.0});
    for (int k = 0; k < 60; ++k) {
      random_inputs(drive, rng);
      const std::int64_t now = drive.state().time_ps;
      const std::int64_t quiet = drive.quiet_until(now + 50 * us);
      ASSERT_GE(quiet, now);
      for (std::int64_t t = now; t < quiet;) {
        random_gates(drive, rng);
        t = std::min<std::int64_t>(quiet, t + static_cast<std::int64_t>(rng() % 9'000'000));
        ASSERT_FALSE(drive.advance(t).edge && drive.state().time_ps < quiet) << "trial " << trial;
      }
      while (drive.advance(now + 50 * us).edge) {
      }
    }
    EXPECT_EQ(drive.health().forced_steps, 0U);
  }
}

TEST_P(EveryCoupling, RunsOnFromACheckpointBitForBit) {
  std::mt19937 rng(5), same(5), other(6);
  Drive a(with(GetParam())), b(with(GetParam()));
  for (int k = 0; k < 200; ++k) {
    random_inputs(a, rng);
    random_gates(a, rng);
    random_inputs(b, same);
    random_gates(b, same);
    const DriveState checkpoint = a.state();
    random_gates(a, other);
    a.advance((k + 2) * 7 * us);
    a.restore(checkpoint);
    for (Drive* d : {&a, &b})
      while (d->advance((k + 1) * 7 * us).edge) {
      }
  }
  EXPECT_EQ(a.state().omega_m_rad_s, b.state().omega_m_rad_s);
  EXPECT_EQ(a.state().extra.omega_2_rad_s, b.state().extra.omega_2_rad_s);
  EXPECT_EQ(a.state().extra.twist_rad, b.state().extra.twist_rad);
}

// A freewheel's load side never falls behind; the search for their meeting ends within 1e-9.
TEST(Motion, NoLoadFallsBehindItsFreewheel) {
  std::mt19937 rng(17);
  Drive drive(with(Coupling::freewheel));
  drive.start();
  int opened = 0, locked = 0;
  bool was_apart = false;
  double behind = 0.0;
  for (int k = 0; k < 4000; ++k) {
    if (k % 100 == 0)
      drive.set_load_torque_Nm({std::uniform_real_distribution<>(-1.0, 1.0)(rng), 0.0});
    random_gates(drive, rng);
    while (drive.advance((k + 1) * 10 * us).edge) {
    }
    const DriveState& s = drive.state();
    behind = std::max(behind, s.omega_m_rad_s - drive.snapshot().omega_2_rad_s);
    opened += s.apart && !was_apart;
    locked += !s.apart && was_apart;
    was_apart = s.apart;
  }
  EXPECT_GT(opened, 5);
  EXPECT_GT(locked, 5);
  EXPECT_LE(behind, 1e-9);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

INSTANTIATE_TEST_SUITE_P(Couplings, EveryCoupling,
                         testing::Values(Coupling::rigid, Coupling::freewheel, Coupling::elastic,
                                         Coupling::slipping));

TEST(Motion, WhatCannotBeTogetherIsRefused) {
  const auto refused = [](auto change, const char* name) {
    DriveParameters p = with(Coupling::elastic);
    change(p.shaft);
    try {
      const Drive drive(p);
      return false;
    } catch (const std::invalid_argument& e) {
      return std::string(e.what()).find(name) != std::string::npos;
    }
  };
  EXPECT_TRUE(refused([](ShaftParameters& s) { s.gear_efficiency = 0.9; }, "gear_efficiency"));
  EXPECT_TRUE(refused([](ShaftParameters& s) { s.slide_friction = 1.0; }, "slide_friction"));
  EXPECT_TRUE(refused(
      [](ShaftParameters& s) {
        s.coupling = Coupling::slipping;
        s.cart_mass_kg = 0.0;
      },
      "cart_mass"));
  EXPECT_TRUE(refused([](ShaftParameters& s) { s.pedal_ripple = 1.5; }, "pedals.ripple"));
}

}  // namespace
}  // namespace stillrotor::plant
