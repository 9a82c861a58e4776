// A real machine: line inductance over the rotor angle and static torque, both measured, against
// the plant with the two inductances that the measurement states.
// Source  Measurement data of an experimental synchronous reluctance machine, University of Gyor,
//         https://github.com/Toroid-project/SynRM, MIT licence, copyright (c) 2023 Toroid-project:
//         inductance/inductance_50Hz_Cu.csv and inductance/measurement_35A.csv. Copper winding,
//         four poles. The same folder computes torque from these inductances, with the mechanical
//         angle in i_d and the electrical one in i_q; those columns are not used.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

constexpr double rad_per_degree = plant::pi / 180.0;

/// L_d and L_q as published: half of the largest and of the smallest inductance between two
/// terminals. No magnets: 1 nWb, for the plant asks for some.
plant::DriveParameters reluctance_machine() {
  plant::DriveParameters p = stiff_drive();
  p.machine.pole_pairs = 2;
  p.machine.inductance_d_H = 8.1665e-3;
  p.machine.inductance_q_H = 2.2505e-3;
  p.machine.winding_resistance_ohm = 0.2;  // not published, and what is compared does not need it
  p.machine.flux_linkage_Wb = 1e-9;
  return p;
}

/// Between V and W, from the current's rise in 100 us.
double line_inductance_H(double theta_m_rad) {
  const plant::DriveParameters p = reluctance_machine();
  plant::Drive drive(p);
  drive.start({0.0, theta_m_rad, -1.0});
  hold_electrical(drive, 0.0);
  drive.set_phase_open(plant::Leg::U, true);  // else its diodes clamp: the rotor couples U in
  only_on(drive, {Switch::VH, Switch::WL});
  const double t = 100e-6;
  advance_to(drive, ps(t));
  const double r = 2.0 * (p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm);
  return -r * t / std::log1p(-r * drive.snapshot().current_A.V / p.supply.voltage_V);
}

struct MeasuredInductance {
  double position_deg, inductance_mH;
};
// Rows 36 to 72 of the file: half a turn of the shaft.
constexpr MeasuredInductance inductance[] = {
    {90, 4.53},    {85, 5.143},  {80, 6.288},  {75, 7.65},    {70, 9.311},   {65, 11.326},
    {60, 12.882},  {55, 14.309}, {50, 15.666}, {45, 16.333},  {40, 15.916},  {35, 14.444},
    {30, 13.133},  {25, 11.374}, {20, 9.487},  {15, 7.994},   {10, 6.258},   {5, 5.043},
    {0, 4.51},     {-5, 4.71},   {-10, 5.634}, {-15, 7.11},   {-20, 9.067},  {-25, 10.676},
    {-30, 12.709}, {-35, 13.93}, {-40, 15.64}, {-45, 16.285}, {-50, 15.971}, {-55, 15.117},
    {-60, 13.322}, {-65, 11.86}, {-70, 9.896}, {-75, 8.015},  {-80, 6.381},  {-85, 5.208},
    {-90, 4.527}};

// The two axes to the printed digits of L_d and L_q, all between as good as the machine is a
// sinusoidal one and the rotor stood where the file says (5 deg steps by hand: 1 deg is 0.41 mH on
// the flank). Seen: axes 0.009 mH at most (two of four poles differ by 0.05), rms 0.385 mH, largest
// 1.02 mH of 16.3.
TEST(MeasuredReluctanceMachine, LineInductanceFollowsTheRotor) {
  double squares = 0.0, largest = 0.0;
  for (const MeasuredInductance& at : inductance) {
    const double mH = 1e3 * line_inductance_H(at.position_deg * rad_per_degree);
    squares += (mH - at.inductance_mH) * (mH - at.inductance_mH);
    largest = std::max(largest, std::abs(mH - at.inductance_mH));
  }
  EXPECT_NEAR(1e3 * line_inductance_H(45.0 * rad_per_degree), 16.333, 0.5e-3);
  EXPECT_NEAR(1e3 * line_inductance_H(0.0), 4.51, 10e-3);
  EXPECT_LT(std::sqrt(squares / std::size(inductance)), 0.39);
  EXPECT_LT(largest, 1.03);
}

struct MeasuredTorque {
  double electrical_deg, least_Nm, most_Nm;
};
// 35 A: phase U carries +35.65 A, V -17.23 A, W -17.64 A. Rows beyond 38 deg, about the top.
constexpr MeasuredTorque torque[] = {{42.94, 10.92, 11.41},    {39.17, 11.17, 11.31},
                                     {38.93, 11.08, 11.34},    {38.67, 10.57, 11.06},
                                     {38.34, 10.65, 10.97},    {-39.18, -11.00, -10.52},
                                     {-41.31, -11.14, -10.80}, {-42.13, -11.22, -10.85},
                                     {-42.31, -11.49, -10.95}, {-43.16, -11.34, -11.00}};

// The torque that holds the rotor is against the machine's; angles count from where it vanishes, so
// the current lies there. The file gives the least and the most reading of each position, 1 to 5 %
// apart. Tolerance: 2.6 % beyond them (seen: 2.55 %, at 39.17 deg). At 25 and 15 A the measured top
// lies 13 and 29 % above what these inductances give (as of weakly magnetised iron, which 35 A then
// meet again on the far side of the best permeability), and 20 deg from the axis the torque stays
// 20 to 27 % below a sine through its own top: no machine of two inductances does that.
TEST(MeasuredReluctanceMachine, HoldsItsStaticTorqueAt35Ampere) {
  plant::Drive drive(reluctance_machine());
  const double along_U_A = 2.0 / 3.0 * (35.65 + 0.5 * (17.23 + 17.64));
  for (const MeasuredTorque& at : torque) {
    place(drive, at.electrical_deg * rad_per_degree, {along_U_A, 0.0});
    const double holding_Nm = -drive.snapshot().torque_Nm;
    EXPECT_GT(holding_Nm, at.least_Nm - 0.026 * std::abs(at.least_Nm)) << at.electrical_deg;
    EXPECT_LT(holding_Nm, at.most_Nm + 0.026 * std::abs(at.most_Nm)) << at.electrical_deg;
  }
}

}  // namespace
}  // namespace stillrotor::reference
