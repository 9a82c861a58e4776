// The plant against CVODE on whole drives.
// Problem: the same edges, machine and supply on both sides; the reference is written in phase
// coordinates and solved by CVODE at 1e-11, restarted at each edge and event.
// Tolerance: 1e-6 of the rated current (20 A), the largest error anywhere in the run.
#include <gtest/gtest.h>

#include "tests/reference/cvode/model/drives.hpp"

namespace stillrotor::reference {
namespace {

constexpr double rated_A = 20.0;

/// 48 V, 50 mohm, 150/250 uH, 12 mWb, 4 pole pairs, bridge and supply as they come.
Experiment drive_at(double electrical_Hz) {
  Experiment e;
  e.parameters.machine.inductance_d_H = 150e-6;
  e.parameters.machine.inductance_q_H = 250e-6;
  e.parameters.step_max_s = 5e-6;
  e.start_omega_m_rad_s = plant::two_pi * electrical_Hz / e.parameters.machine.pole_pairs;
  e.start_theta_e_rad = 0.3;
  return e;
}

void expect_agreement(const Experiment& e, const char* what) {
  const Disagreement d = compare(e);
  EXPECT_LT(d.current_A, 1e-6 * rated_A) << what << " at " << d.at_s << " s";
  // 20 uA through 72 mNm/A on 2e-4 kg m^2 for 25 ms would be 180 urad/s and 9 urad (electrical):
  // tighter than the current's tolerance implies. Bus: RK4 at 5 us on a link of 45 us leaves
  // (5/45)^4/120/e = 5e-7 of every step of some 3 V (80 A through the supply): 1.5 uV each.
  EXPECT_LT(d.omega_m_rad_s, 1e-5);
  EXPECT_LT(d.theta_e_rad, 1e-6);
  EXPECT_LT(d.bus_V, 1e-5);
  EXPECT_GT(d.peak_current_A, 5.0) << "a run without current proves nothing";
  ::testing::Test::RecordProperty("largest_current_difference_A", std::to_string(d.current_A));
  std::printf("%s: current %.1e A, bus %.1e V, events %ld, peak %.1f A\n", what, d.current_A,
              d.bus_V, d.events, d.peak_current_A);
}

TEST(PlantAgainstCvode, FieldOrientedRunAgreesToAMillionthOfRatedCurrent) {
  Experiment e = drive_at(200.0);
  record_field_oriented(e, {}, 25e-3);
  sample_every(e, 20e-6, 25e-3);
  expect_agreement(e, "field-oriented, 200 Hz, 20 A");
}

// Light load at low speed: the currents cross zero inside dead times, where the third leg floats.
TEST(PlantAgainstCvode, FieldOrientedRunAtLightLoadAgrees) {
  Experiment e = drive_at(50.0);
  record_field_oriented(e, {.i_q_A = 5.0}, 25e-3);
  sample_every(e, 20e-6, 25e-3);
  expect_agreement(e, "field-oriented, 50 Hz, 5 A");
}

TEST(PlantAgainstCvode, SixStepRunWithFloatingPhaseAndFreewheelDiodesAgrees) {
  Experiment e = drive_at(150.0);
  record_six_step(e, {}, 25e-3);
  sample_every(e, 20e-6, 25e-3);
  expect_agreement(e, "six-step, 150 Hz");
}

// The rotor accelerates freely from a crawl, harmonics up to the 13th, friction and load torque.
TEST(PlantAgainstCvode, SixStepRunWithFreeRotorAndTrapezoidAgrees) {
  Experiment e = drive_at(5.0);
  e.parameters.machine.back_emf = plant::trapezoid_harmonics(120.0, 13);
  e.parameters.shaft.inertia_kg_m2 = 2e-4;
  e.parameters.shaft.viscous_friction_Nm_s_per_rad = 1e-4;
  e.parameters.shaft.coulomb_friction_Nm = 0.02;
  e.speed_held = false;
  e.load_Nm = 0.1;
  record_six_step(e, {.duty = 0.4}, 25e-3);
  sample_every(e, 20e-6, 25e-3);
  expect_agreement(e, "six-step, free rotor");
}

// All gates off above the onset of rectification.
TEST(PlantAgainstCvode, CoastingRectifierAgrees) {
  Experiment e = drive_at(600.0);
  sample_every(e, 10e-6, 10e-3);
  expect_agreement(e, "rectifier, 600 Hz");
}

// Locked rotor, U against V, then all gates off: both diode currents run out at the same instant,
// where a root finder that handles them one by one chatters. One event, then silence on both sides.
TEST(PlantAgainstCvode, TwoCurrentsThatVanishTogetherLeaveTogether) {
  Experiment e = drive_at(0.0);
  e.edges = {{0, Switch::UH, true},
             {0, Switch::VL, true},
             {ps(200e-6), Switch::UH, false},
             {ps(200e-6), Switch::VL, false}};
  sample_every(e, 2e-6, 1e-3);
  expect_agreement(e, "two currents vanish together");
  EXPECT_EQ(compare(e).events, 1);
  plant::Drive drive = start_plant(e);
  replay(drive, e.edges, 0, ps(1e-3));
  EXPECT_EQ(drive.state().i_alpha_A, 0.0);
  EXPECT_EQ(drive.state().i_beta_A, 0.0);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

// Control: the comparison must see a wrong machine. 0.1 % of inductance is far above its tolerance.
TEST(PlantAgainstCvode, ComparisonSeesATenthOfAPercentOfInductance) {
  Experiment e = drive_at(200.0);
  record_field_oriented(e, {}, 3e-3);
  Experiment changed = e;
  changed.parameters.machine.inductance_q_H *= 1.001;
  changed.sample_ps = e.sample_ps = {ps(2.9e-3)};
  plant::Drive right = start_plant(e), wrong = start_plant(changed);
  replay(right, e.edges, 0, e.sample_ps[0]);
  replay(wrong, changed.edges, 0, e.sample_ps[0]);
  const double moved = std::abs(right.state().i_alpha_A - wrong.state().i_alpha_A);
  EXPECT_GT(moved, 100.0 * 1e-6 * rated_A);
}

}  // namespace
}  // namespace stillrotor::reference
