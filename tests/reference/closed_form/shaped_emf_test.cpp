// The inner loop's step for a back-EMF of any shape (plant/shaped_step.hpp), one leg floating or
// none. Beside it stand the plant's general steps, which the ledger asks for: other equations
// (flow.hpp), another method (Runge-Kutta), here a twentieth as long; and what orders and
// potentials must be.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

plant::DriveParameters shaped_drive(std::vector<plant::BackEmfHarmonic> shape, double step_s) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = p.machine.inductance_d_H;
  p.machine.back_emf = std::move(shape);
  p.shaft.inertia_kg_m2 = 2e-4;
  p.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  p.shaft.quadratic_drag_Nm_s2_per_rad2 = 2e-6;
  p.dc_link.capacitance_F = 5e-3;
  p.step_max_s = step_s;
  return p;
}

/// Two legs in turn by the rotor's place, the high switch chopped with every sixteenth turn of the
/// pattern left to the diodes alone; dead times and three legs that conduct in between.
void chop(plant::Drive& drive, int k, double theta_e_rad) {
  constexpr Switch high[6] = {Switch::VH, Switch::VH, Switch::WH,
                              Switch::WH, Switch::UH, Switch::UH},
                   low[6] = {Switch::WL, Switch::UL, Switch::UL,
                             Switch::VL, Switch::VL, Switch::WL};
  const int sector = static_cast<int>(theta_e_rad / (plant::two_pi / 6.0)) % 6;
  if (k % 16 == 15)
    only_on(drive, {});
  else if (k % 2 == 0)
    only_on(drive, {high[sector], low[sector]});
  else if (k % 8 == 3)
    only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  else
    only_on(drive, {low[sector]});
}

/// How far apart two drives were at most, and what they went through.
struct Apart {
  double current_A = 0.0, bus_V = 0.0, speed_rad_s = 0.0, theta_rad = 0.0, terminal_V = 0.0;
  double peak_A = 0.0, speeds_rad_s = 0.0;
  int floats = 0, conducts = 0, differs = 0;
};

Apart compared(const plant::DriveParameters& p, double start_rad_s) {
  plant::DriveParameters finely = p;
  finely.step_max_s = 0.5e-6;
  plant::Drive series(p), general(finely);
  for (plant::Drive* drive : {&series, &general}) drive->start({start_rad_s, 0.01, -1.0});
  general.keep_ledger(true);
  Apart worst;
  const auto widen = [](double& to, double by) { to = std::max(to, std::abs(by)); };
  for (int k = 0; k < 1600; ++k) {
    const double theta = series.state().theta_e_rad;
    const std::int64_t until_ps = (k + 1) * ps(13e-6);
    for (plant::Drive* drive : {&series, &general}) {
      chop(*drive, k, theta);
      advance_to(*drive, until_ps);
    }
    const plant::DriveState &s = series.state(), &g = general.state();
    widen(worst.current_A, std::hypot(s.i_alpha_A - g.i_alpha_A, s.i_beta_A - g.i_beta_A));
    widen(worst.bus_V, s.v_cap_V - g.v_cap_V);
    widen(worst.speed_rad_s, s.omega_m_rad_s - g.omega_m_rad_s);
    widen(worst.theta_rad, std::sin(s.theta_e_rad - g.theta_e_rad));
    widen(worst.peak_A, std::hypot(s.i_alpha_A, s.i_beta_A));
    widen(worst.speeds_rad_s, s.omega_m_rad_s - start_rad_s);
    const plant::Snapshot a = series.snapshot(), b = general.snapshot();
    for (std::size_t leg = 0; leg < 3; ++leg) {
      (s.leg[leg] == plant::Conduction::floating ? worst.floats : worst.conducts) += 1;
      worst.differs += s.leg[leg] != g.leg[leg];
    }
    widen(worst.terminal_V, a.terminal_V.U - b.terminal_V.U);
    widen(worst.terminal_V, a.terminal_V.W - b.terminal_V.W);
  }
  EXPECT_EQ(series.health().forced_steps, 0U);
  return worst;
}

// Forward from a crawl and backward at speed, on a link of 230 us. Tolerance: between two knots the
// cubic is off by (m h)^4 / 384 of a harmonic that turns m on the rotor in a step (the last, 48 of
// 0.015 rad: 7e-4, of 1/49^2), which leaves 1e-8 of the current and what that makes of the rest.
TEST(ShapedEmf, TheSeriesAgreesWithGeneralSteps) {
  for (const double start_rad_s : {5.0, -150.0}) {
    const Apart off =
        compared(shaped_drive(plant::trapezoid_harmonics(120.0, 49), 10e-6), start_rad_s);
    EXPECT_GT(off.peak_A, 100.0);
    EXPECT_GT(off.speeds_rad_s, 200.0);
    EXPECT_GT(off.floats, 500);
    EXPECT_GT(off.conducts, 2000);
    EXPECT_EQ(off.differs, 0);
    EXPECT_LT(off.current_A, 3e-8 * off.peak_A);
    EXPECT_LT(off.bus_V, 2e-7);
    EXPECT_LT(off.speed_rad_s, 3e-6);
    EXPECT_LT(off.theta_rad, 5e-8);
    EXPECT_LT(off.terminal_V, 1e-6);
  }
}

/// The current after 0.4 ms from 900 rad/s (electrical) with so long a step, on a link of 1e9 F.
/// inertia_kg_m2: 0 where the speed is held.
std::complex<double> current_A(std::initializer_list<Switch> on, double inertia_kg_m2,
                               double step_s) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_q_H = p.machine.inductance_d_H;
  p.machine.back_emf = {{1, 1.0}, {5, 0.05}, {7, -0.03}};
  if (inertia_kg_m2 > 0.0) p.shaft.inertia_kg_m2 = inertia_kg_m2;
  p.step_max_s = step_s;
  plant::Drive drive(p);
  drive.start({900.0 / p.machine.pole_pairs, 0.1 / p.machine.pole_pairs, -1.0});
  if (inertia_kg_m2 == 0.0) hold_electrical(drive, 900.0);
  only_on(drive, on);
  advance_to(drive, ps(0.4e-3));
  return {drive.state().i_alpha_A, drive.state().i_beta_A};
}

// Fourth order: halving the step divides the error by 16; with all legs or with one that floats,
// at a speed that is held and at one that a light rotor changes by tenths of itself.
TEST(ShapedEmf, HalvingTheStepDividesTheErrorBySixteen) {
  struct Case {
    std::initializer_list<Switch> on;
    double inertia_kg_m2;
  };
  for (const Case& c :
       {Case{{Switch::UL, Switch::VL, Switch::WL}, 0.0},
        Case{{Switch::UL, Switch::VL, Switch::WL}, 2e-5}, Case{{Switch::UH, Switch::VL}, 0.0},
        Case{{Switch::UH, Switch::VL}, 2e-5}}) {
    const std::complex<double> best = current_A(c.on, c.inertia_kg_m2, 1.25e-6);
    const auto error_A = [&](double step_s) {
      return std::abs(current_A(c.on, c.inertia_kg_m2, step_s) - best);
    };
    const double coarse = error_A(40e-6), middle = error_A(20e-6), fine = error_A(10e-6);
    EXPECT_NEAR(coarse / middle, 16.0, 2.0) << coarse << " A, inertia " << c.inertia_kg_m2;
    EXPECT_NEAR(middle / fine, 16.0, 2.0) << middle << " A, inertia " << c.inertia_kg_m2;
    EXPECT_LT(coarse, 1e-3);
    EXPECT_GT(std::abs(best), 10.0);
  }
}

}  // namespace
}  // namespace stillrotor::reference
