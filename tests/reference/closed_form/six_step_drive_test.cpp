// Six-step operation from the plant's own Hall lines, by a table of the test's own.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;
using plant::SensorLine;
using plant::sqrt3;

/// Hall code, bit 0: U, bit 1: V, bit 2: W.
int hall_code(const plant::Drive& drive) {
  return (drive.level(SensorLine::hall_U) ? 1 : 0) + (drive.level(SensorLine::hall_V) ? 2 : 0) +
         (drive.level(SensorLine::hall_W) ? 4 : 0);
}

/// Line k is high within +-90 deg of 120 deg k, so U alone means -30 .. 30 deg. The magnet is
/// there, the field should stand 90 deg ahead: current into V, out of W (vector 90 deg). Each next
/// code moves the vector on by 60 deg.
void commutate(plant::Drive& drive, int code) {
  using S = Switch;
  switch (code) {
    case 1:
      return only_on(drive, {S::VH, S::WL});  // 100: 0 deg, vector 90
    case 3:
      return only_on(drive, {S::VH, S::UL});  // 110: 60 deg, 150
    case 2:
      return only_on(drive, {S::WH, S::UL});  // 010: 120 deg, 210
    case 6:
      return only_on(drive, {S::WH, S::VL});  // 011: 180 deg, 270
    case 4:
      return only_on(drive, {S::UH, S::VL});  // 001: 240 deg, 330
    case 5:
      return only_on(drive, {S::UH, S::WL});  // 101: 300 deg, 30
    default:
      return only_on(drive, {});
  }
}

using Wiring = std::function<int(int)>;
int as_built(int code) { return code; }
int u_and_v_swapped(int code) { return (code & 4) | ((code & 1) << 1) | ((code & 2) >> 1); }
int all_inverted(int code) { return ~code & 7; }

/// Mean torque of each of the six sectors of one turn, at a crawl with negligible EMF: the current
/// is V/(2r) within a time constant of 0.15 ms of a sector of 105 ms.
std::array<double, 6> sector_torques_Nm(const Wiring& wiring) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1.0;
  p.machine.flux_linkage_Wb = 1e-4;
  p.hall.fitted = true;
  p.step_max_s = 50e-6;
  plant::Drive drive(p);
  const double omega_e = 10.0;
  drive.start({omega_e / p.machine.pole_pairs, 0.0, -1.0});
  hold_electrical(drive, omega_e);
  commutate(drive, wiring(hall_code(drive)));
  const std::int64_t end = ps(4.0 * plant::two_pi / omega_e);
  drive.advance(end);  // to the first edge
  std::array<double, 6> mean{};
  for (double& torque : mean) {
    commutate(drive, wiring(hall_code(drive)));
    Integrals sum(drive, 1,
                  [](double, const plant::Snapshot& s, double* out) { out[0] = s.torque_Nm; });
    drive.advance(end, &sum);
    torque = sum.mean(0);
  }
  return mean;
}

// Six-step on a sine machine: mean of cos over +-30 deg, 3/pi, times 1.5 p psi and the vector's
// length 2/sqrt(3) I. By hand with p 4, psi 0.1 mWb, I = 48/(2 * 1.004) A. Tolerance: the current
// needs a few time constants of 0.15 ms in 105 ms, about 0.3 %, after each commutation.
TEST(SixStepDrive, MeanTorqueIsThreeOverPiOfTheBest) {
  const double i = 48.0 / (2.0 * 1.004);
  const double expected = 3.0 / pi * 1.5 * 4.0 * 1e-4 * 2.0 / sqrt3 * i;
  for (const double t : sector_torques_Nm(as_built)) EXPECT_NEAR(t / expected, 1.0, 3e-3);
}

// Two Halls swapped: two codes keep their sector, the other four are taken for sectors +-120 deg
// away, where the vector gives cos 120 deg. Torque +1, +1, -1/2 four times, mean zero: it judders.
// Derived. Tolerance as above, now with current steps of either sign.
TEST(SixStepDrive, TwoSwappedHallsJudderWithMeanZero) {
  const double right = sector_torques_Nm(as_built)[0];
  std::array<double, 6> share = sector_torques_Nm(u_and_v_swapped);
  double mean = 0.0;
  for (double& t : share) {
    t /= right;
    mean += t / 6.0;
  }
  std::sort(share.begin(), share.end());
  for (std::size_t n = 0; n < 4; ++n) EXPECT_NEAR(share[n], -0.5, 5e-3);
  for (std::size_t n = 4; n < 6; ++n) EXPECT_NEAR(share[n], 1.0, 5e-3);
  EXPECT_NEAR(mean, 0.0, 5e-3);
}

// All three inverted: every vector points the opposite way. Reversed.
TEST(SixStepDrive, ThreeInvertedHallsReverseTheTorque) {
  const double right = sector_torques_Nm(as_built)[0];
  for (const double t : sector_torques_Nm(all_inverted)) EXPECT_NEAR(t / right, -1.0, 5e-3);
}

/// Mean torque over one turn at this speed, nearly without resistance, from a sector's beginning.
double running_torque_Nm(double omega_e) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1e-6;
  p.bridge.switch_on_resistance_ohm = p.bridge.diode_resistance_ohm = 1e-6;
  p.hall.fitted = true;
  p.step_max_s = 1e-6;
  plant::Drive drive(p);
  drive.start({omega_e / p.machine.pole_pairs, 0.0, -1.0});
  hold_electrical(drive, omega_e);
  const std::int64_t end = ps(2.0 * plant::two_pi / omega_e);
  drive.advance(end);  // to the first edge, no current yet
  Integrals sum(drive, 1,
                [](double, const plant::Snapshot& s, double* out) { out[0] = s.torque_Nm; });
  for (int sector = 0; sector < 6; ++sector) {
    commutate(drive, hall_code(drive));
    drive.advance(end, &sum);
  }
  return sum.mean(0);
}

// No load, R = 0, sine machine: in a sector the line EMF runs sqrt(3) w psi cos x, |x| < 30 deg.
// The current returns to zero at the sector's end, with zero mean torque by symmetry, when its mean
// is the bus: (3/pi) sqrt(3) w_0 psi = V_dc.  Derived. The floating terminal reaches V_dc/2 +-
// 0.75 w_0 psi = V_dc (0.5 +- 0.453) and stays within the rails.
// Tolerance: 1 % of speed off balance gives torque of the order of the ripple's; at balance 1e-4 of
// that remains (edges on the next picosecond, 4 micro-ohm).
TEST(SixStepDrive, NoLoadSpeedOfSineMachineBalancesMeanLineEmf) {
  const double w0 = pi * 48.0 / (3.0 * sqrt3 * 12e-3);
  const double slow = running_torque_Nm(0.99 * w0), fast = running_torque_Nm(1.01 * w0);
  EXPECT_GT(slow, 0.0);
  EXPECT_LT(fast, 0.0);
  EXPECT_LT(std::abs(running_torque_Nm(w0)), 1e-4 * slow);
}

/// Mean electrical speed that a free rotor without friction settles at.
double settled_speed(plant::DriveParameters p, double guess) {
  p.hall.fitted = true;
  p.shaft.inertia_kg_m2 = 1e-3;
  plant::Drive drive(p);
  drive.start({0.9 * guess / p.machine.pole_pairs, 0.0, -1.0});
  commutate(drive, hall_code(drive));
  const auto run = [&](double until_s) {
    while (drive.advance(ps(until_s)).edge) commutate(drive, hall_code(drive));
  };
  run(0.4);
  const double from = drive.snapshot().theta_m_rad;
  run(0.5);
  return (drive.snapshot().theta_m_rad - from) / 0.1 * p.machine.pole_pairs;
}

// A free rotor finds the balance by itself: sine as above; trapezoid where the two flats meet the
// bus, 2 E = V_dc. Tolerance: resistance damps the ripple current unsymmetrically, and the series
// of the trapezoid (up to 97) misses up to 0.36 % of 2 E: 0.5 %.
TEST(SixStepDrive, FreeRotorSettlesAtNoLoadSpeed) {
  const double sine = pi * 48.0 / (3.0 * sqrt3 * 12e-3);
  EXPECT_NEAR(settled_speed(stiff_drive(), sine) / sine, 1.0, 5e-3);
  const double trapezoid = 48.0 / (2.0 * 12e-3 * plant::trapezoid_flat_over_fundamental(120.0));
  EXPECT_NEAR(settled_speed(stiff_trapezoid(120.0, 97), trapezoid) / trapezoid, 1.0, 5e-3);
}

}  // namespace
}  // namespace stillrotor::reference
