// A machine with a flux map against closed forms: the machine without saturation, a co-energy in
// closed form (support/soft_iron.hpp), quadrature.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"
#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;

/// Three sine references that turn at this electrical frequency; 16 kHz, 1 us of dead time.
std::vector<GateEdge> sine_edges(double electrical_Hz, double amplitude, double lead_rad,
                                 int periods) {
  const auto reference = [=](double t) {
    std::array<double, 3> r;
    for (int k = 0; k < 3; ++k)
      r[static_cast<std::size_t>(k)] = amplitude * std::cos(plant::two_pi * electrical_Hz * t +
                                                            lead_rad - k * plant::two_pi / 3.0);
    return r;
  };
  return natural_pwm_edges({reference, 16e3, 1e-6}, periods);
}

double distance_A(const plant::Drive& a, const plant::Drive& b) {
  return std::hypot(a.state().i_alpha_A - b.state().i_alpha_A,
                    a.state().i_beta_A - b.state().i_beta_A);
}

// Straight tables are quadratic co-energy, which a cubic spline holds exactly: the same machine
// twice. Free rotor, harmonics of the back-EMF, diodes in every dead time. Tolerance: 1e-9 of the
// current; it is rounding, and where a search for a diode's zero (1e-9 A) ended.
TEST(Saturation, AStraightMapIsTheMachineWithoutSaturation) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.back_emf = {{1, 1.0}, {5, 0.05}, {7, -0.03}};
  p.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  plant::DriveParameters mapped = p;
  mapped.machine.flux_map = linear_table(p.machine, 200.0, 25.0);
  plant::Drive straight(p), map(mapped);
  for (plant::Drive* drive : {&straight, &map})
    drive->start({plant::two_pi * 100.0 / p.machine.pole_pairs, 0.0, -1.0});
  const auto edges = sine_edges(100.0, 0.6, 1.8, 320);
  double worst = 0.0, peak = 0.0;
  std::size_t a = 0, b = 0;
  for (int ms = 1; ms <= 20; ++ms) {
    a = replay(straight, edges, a, ps(ms * 1e-3));
    b = replay(map, edges, b, ps(ms * 1e-3));
    worst = std::fmax(worst, distance_A(straight, map));
    peak = std::fmax(peak, std::hypot(map.state().i_alpha_A, map.state().i_beta_A));
    EXPECT_NEAR(straight.snapshot().torque_Nm, map.snapshot().torque_Nm, 1e-8);
    EXPECT_NEAR(straight.snapshot().terminal_V.U, map.snapshot().terminal_V.U, 1e-6);
  }
  ASSERT_GT(peak, 20.0);
  EXPECT_LT(worst, 1e-9 * peak);
}

// The step in the rotor frame and the general one (which the ledger uses) are the same equations.
// Tolerance: their turns of the rotor within a step differ by the square of 1e-6 rad.
TEST(Saturation, BothStepsOfTheSaturatedMachineAgree) {
  plant::DriveParameters p = soft_iron_drive({}, 20.0);
  p.dc_link = {};
  p.machine.back_emf = {{1, 1.0}, {5, 0.05}, {7, -0.03}};
  p.machine.cogging = {{24, 0.05, 0.3}};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  plant::Drive fast(p), general(p);
  for (plant::Drive* drive : {&fast, &general})
    drive->start({plant::two_pi * 100.0 / p.machine.pole_pairs, 0.0, -1.0});
  general.keep_ledger(true);
  const auto edges = sine_edges(100.0, 0.6, 1.8, 320);
  double worst = 0.0, peak = 0.0;
  std::size_t a = 0, b = 0;
  for (int ms = 1; ms <= 20; ++ms) {
    a = replay(fast, edges, a, ps(ms * 1e-3));
    b = replay(general, edges, b, ps(ms * 1e-3));
    worst = std::fmax(worst, distance_A(fast, general));
    peak = std::fmax(peak, std::hypot(fast.state().i_alpha_A, fast.state().i_beta_A));
  }
  ASSERT_GT(peak, 40.0);
  EXPECT_LT(worst, 1e-8 * peak);
  EXPECT_NEAR(fast.state().omega_m_rad_s, general.state().omega_m_rad_s, 1e-7);
}

// The inner loop's series of the linkage, with iron losses, a diode in every dead time and pieces
// of the map crossed all along, against general steps a tenth as long. Tolerance: the series leaves
// 1e-7 of a transient a step, and where it crosses a line of the map 1e-7 of the current.
TEST(Saturation, TheSeriesOfTheLinkageAgreesWithGeneralSteps) {
  plant::DriveParameters p = soft_iron_drive({}, 20.0);
  p.dc_link = {};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  p.shaft.inertia_kg_m2 = 2e-4;
  p.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  p.step_max_s = 10e-6;
  plant::DriveParameters finely = p;
  finely.step_max_s = 0.5e-6;
  plant::Drive series(p), general(finely);
  for (plant::Drive* drive : {&series, &general})
    drive->start({plant::two_pi * 100.0 / p.machine.pole_pairs, 0.0, -1.0});
  general.keep_ledger(true);
  const auto edges = sine_edges(100.0, 0.6, 1.8, 320);
  double worst = 0.0, peak = 0.0, slowest = 1e9, fastest = 0.0;
  std::size_t a = 0, b = 0;
  for (int k = 1; k <= 200; ++k) {
    a = replay(series, edges, a, ps(k * 0.1e-3));
    b = replay(general, edges, b, ps(k * 0.1e-3));
    const plant::DriveState &s = series.state(), &g = general.state();
    worst = std::fmax(worst, distance_A(series, general));
    peak = std::fmax(peak, std::hypot(s.i_alpha_A, s.i_beta_A));
    slowest = std::fmin(slowest, s.omega_m_rad_s);
    fastest = std::fmax(fastest, s.omega_m_rad_s);
    ASSERT_NEAR(s.omega_m_rad_s, g.omega_m_rad_s, 3e-6) << k;
    ASSERT_NEAR(s.v_cap_V, g.v_cap_V, 5e-6) << k;
  }
  ASSERT_GT(peak, 40.0);
  ASSERT_GT(fastest - slowest, 10.0);
  EXPECT_LT(worst, 1e-7 * peak);
}

// A current that runs through three pieces of the map in each step: the series leaves the piece
// that it was made in, and the end is found on the map, in more than one try. Tolerance: what the
// windings' resistance makes of the series' error, 3e-5 of the current; 3.5e-5 with a single try.
TEST(Saturation, AStepAcrossPiecesEndsOnTheMap) {
  const auto current_A = [](double step_s) {
    plant::DriveParameters p = soft_iron_drive({}, 12.5);
    p.supply.voltage_V = 150.0;
    p.step_max_s = step_s;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
    advance_to(drive, ps(90e-6));
    return drive.state().i_alpha_A;
  };
  const double fine = current_A(0.5e-6);
  EXPECT_GT(fine, 90.0);
  EXPECT_NEAR(current_A(30e-6), fine, 3.2e-5 * fine);
}

// What is watched after every step is the torque that the equations use, by a shorter way.
TEST(Saturation, TheProbeShowsTheSameTorque) {
  plant::DriveParameters p = soft_iron_drive({}, 20.0);
  p.machine.back_emf = {{1, 1.0}, {5, 0.05}};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 900.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  double probed_Nm = 0.0;
  EachStep look([&](const plant::Segment& s) { probed_Nm = drive.probe(*s.end).torque_Nm; });
  advance_by(drive, 1e-3, &look);
  EXPECT_LT(probed_Nm, -1.0);
  EXPECT_NEAR(probed_Nm, drive.snapshot().torque_Nm, 1e-12);
}

/// Currents of a shorted, turning machine after 1 ms; all of it in one piece of the map.
plant::AlphaBeta shorted(const plant::FluxMapTable& map, double ohm, double step_s) {
  plant::DriveParameters p = soft_iron_drive({}, 20.0);
  p.machine.flux_map = map;
  p.machine.winding_resistance_ohm = ohm;
  p.step_max_s = step_s;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 900.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  EachStep look([&](const plant::Segment& s) {
    const plant::Dq i =
        plant::park({s.end->i_alpha_A, s.end->i_beta_A}, s.end->cos_e, s.end->sin_e);
    EXPECT_TRUE(i.d > -160.0 && i.d < 100.0 && i.q > -100.0 && i.q < 100.0) << i.d << ", " << i.q;
  });
  advance_to(drive, ps(1e-3), &look);
  return {drive.state().i_alpha_A, drive.state().i_beta_A};
}

/// Errors of the currents by steps of 40, 20 and 10 us.
std::array<double, 3> errors_A(const plant::FluxMapTable& map, double ohm) {
  const plant::AlphaBeta best = shorted(map, ohm, 1e-6);
  std::array<double, 3> out{};
  double step_s = 40e-6;
  for (double& error : out) {
    const plant::AlphaBeta i = shorted(map, ohm, step_s);
    error = std::hypot(i.alpha - best.alpha, i.beta - best.beta);
    step_s *= 0.5;
  }
  return out;
}

// Fourth order inside a piece of the map: halving the step divides the error by 16.
TEST(Saturation, InsideAPieceOfTheMapTheOrderIsFour) {
  plant::FluxMapTable wide{{-420.0, -160.0, 100.0, 360.0}, {-300.0, -100.0, 100.0, 300.0}, {}, {}};
  // A cubic co-energy, which the spline holds exactly, with inductances that change all the way.
  for (const double d : wide.i_d_A)
    for (const double q : wide.i_q_A) {
      wide.psi_d_Wb.push_back(15e-3 + 150e-6 * d - 5e-8 * d * d - 5e-8 * q * q);
      wide.psi_q_Wb.push_back(200e-6 * q - 1e-7 * d * q);
    }
  const auto [coarse, middle, fine] =
      errors_A(wide, plant::DriveParameters{}.machine.winding_resistance_ohm);
  EXPECT_NEAR(coarse / middle, 16.0, 1.5);
  EXPECT_NEAR(middle / fine, 16.0, 1.5);
}

/// A co-energy with all the fourth derivatives that a piece can have,
///   W' = c d + 1/2 l_d d^2 + 1/2 l_q q^2 - a d^2 q^2 / 4 - b d^3 q / 6 - e d q^3 / 6,
/// which a bicubic spline holds exactly.
struct Quartic {
  double c = 15e-3, l_d = 150e-6, l_q = 200e-6, a = 1.5e-9, b = 0.6e-9, e = 0.4e-9;
  plant::FluxMapTable table() const {
    plant::FluxMapTable t{{-200.0, -160.0, 100.0, 140.0}, {-140.0, -100.0, 100.0, 140.0}, {}, {}};
    for (const double d : t.i_d_A)
      for (const double q : t.i_q_A) {
        t.psi_d_Wb.push_back(c + l_d * d - a * d * q * q / 2 - b * d * d * q / 2 -
                             e * q * q * q / 6);
        t.psi_q_Wb.push_back(l_q * q - a * d * d * q / 2 - b * d * d * d / 6 - e * d * q * q / 2);
      }
    return t;
  }
};

// By hand, from the potential above. Tolerance: the spline's own rounding, as a share.
TEST(Saturation, APieceOfTheMapKnowsItsThirdAndFourthDerivatives) {
  const Quartic w;
  const plant::FluxMap map(w.table());
  plant::FluxMapPiece piece(map);
  for (const double d : {-120.0, 30.0, 90.0})
    for (const double q : {-80.0, 10.0, 70.0}) {
      piece.at(d, q);
      const plant::FluxMap::Bends bends = piece.bends(d, q);
      const double ddd = -w.b * q, ddq = -w.a * q - w.b * d, dqq = -w.a * d - w.e * q,
                   qqq = -w.e * d;
      EXPECT_NEAR(bends.by_dd[0], ddd, 1e-13);
      EXPECT_NEAR(bends.by_dd[1], ddq, 1e-13);
      EXPECT_NEAR(bends.by_dq[0], ddq, 1e-13);
      EXPECT_NEAR(bends.by_dq[1], dqq, 1e-13);
      EXPECT_NEAR(bends.by_qq[0], dqq, 1e-13);
      EXPECT_NEAR(bends.by_qq[1], qqq, 1e-13);
      EXPECT_NEAR(bends.dddq, -w.b, 1e-15);
      EXPECT_NEAR(bends.ddqq, -w.a, 1e-15);
      EXPECT_NEAR(bends.dqqq, -w.e, 1e-15);
    }
}

// The same order where all of these count, and a resistance makes much of the currents' own error.
TEST(Saturation, TheOrderIsFourWhereInductancesBendBothWays) {
  const auto [coarse, middle, fine] = errors_A(Quartic{}.table(), 0.1);
  EXPECT_NEAR(coarse / middle, 16.0, 2.0);
  EXPECT_NEAR(middle / fine, 16.0, 2.0);
}

// Locked rotor, alpha on d, U against V and W: only i_d flows, L_dd di/dt = V - r i with
// V = 2/3 V_dc, r = R + R_on, so t(i) = integral of L_dd / (V - r i): Simpson, 2,000 intervals.
// i_q stays 0. Tolerance: the spline's fit of the closed form at 5 A, 3e-7 of 25 mWb, over 32 V.
TEST(Saturation, LockedRotorRisesAlongTheQuadratureOfItsInductance) {
  const SoftIron iron;
  plant::DriveParameters p = soft_iron_drive(iron, 5.0);
  p.step_max_s = 1e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  const double v = 2.0 / 3.0 * p.supply.voltage_V;
  const double r = p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm;
  for (int n = 1; n <= 6; ++n) {
    advance_to(drive, ps(n * 40e-6));
    const double i = drive.state().i_alpha_A;
    const auto per_A = [&](double x) { return iron.l_dd(x, 0.0) / (v - r * x); };
    const int intervals = 2000;
    double t = per_A(0.0) + per_A(i);
    for (int k = 1; k < intervals; ++k) t += (k % 2 == 1 ? 4.0 : 2.0) * per_A(i * k / intervals);
    t *= i / intervals / 3.0;
    EXPECT_NEAR(t, n * 40e-6, 2.4e-10) << i << " A";
    EXPECT_NEAR(drive.state().i_beta_A, 0.0, 1e-12);
  }
  EXPECT_GT(drive.state().i_alpha_A, 70.0);
  // Control: at the first inductance throughout it would be another current by far.
  EXPECT_GT(std::abs(v / r * (1.0 - std::exp(-r * 240e-6 / iron.l_dd(0.0, 0.0))) -
                     drive.state().i_alpha_A),
            5.0);
}

// Most torque per ampere: the plant's torque over the angle of a current of given size, its maximum
// by golden section, against a grid search on the closed form. Tolerance: the grid's 0.01 deg; the
// torque at a maximum is flat, its difference is the map's fit at 10 A, 5e-6.
TEST(Saturation, MostTorquePerAmpereOnTheMapIsThatOfTheClosedForm) {
  const SoftIron iron;
  const plant::DriveParameters p = soft_iron_drive(iron, 10.0);
  plant::Drive drive(p);
  drive.start();
  for (const double i : {20.0, 100.0, 200.0}) {
    const auto torque = [&](double gamma) {
      place(drive, 0.3, {i * std::cos(0.3 + gamma), i * std::sin(0.3 + gamma)});
      return drive.snapshot().torque_Nm;
    };
    double low = pi / 2, high = pi * 0.95;
    for (int n = 0; n < 60; ++n) {
      const double third = (high - low) / 3.0;
      (torque(low + third) < torque(high - third) ? low : high) =
          torque(low + third) < torque(high - third) ? low + third : high - third;
    }
    double best = 0.0, at = 0.0;
    for (int n = 9000; n < 18000; ++n) {
      const double gamma = n * 0.01 * pi / 180.0;
      const double t = iron.torque_Nm(i * std::cos(gamma), i * std::sin(gamma), 4);
      if (t > best) best = t, at = gamma;
    }
    EXPECT_NEAR(torque(low), best, 5e-6 * best) << i;
    EXPECT_NEAR(low, at, 5e-4) << i;
    EXPECT_GT(at, 0.51 * pi) << "reluctance torque moves the best angle off the q axis";
  }
}

/// What the supply gave less what was stored, did work and became heat, as a share.
double missing_share(double step_s) {
  plant::DriveParameters p = soft_iron_drive({}, 20.0);
  p.dc_link = {};
  p.supply = {};
  p.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  p.machine.cogging = {{24, 0.05, 0.3}, {48, -0.02, 1.0}};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  p.step_max_s = step_s;
  plant::Drive drive(p);
  drive.start({plant::two_pi * 100.0 / p.machine.pole_pairs, 0.0, -1.0});
  drive.keep_ledger(true);
  const auto stored = [&] {
    const double v = drive.state().v_cap_V;
    return 0.5 * p.dc_link.capacitance_F * v * v + drive.machine_energy_J();
  };
  const double before = stored();
  replay(drive, sine_edges(100.0, 0.6, 1.8, 320), 0, ps(20e-3));
  const plant::DriveState& s = drive.state();
  EXPECT_GT(s.supplied_J, 1.0);
  return (s.supplied_J - (stored() - before) - s.mechanical_J - s.dissipated_J) / s.supplied_J;
}

// One potential gives voltages and torque, so no energy comes from nowhere. Where a step crosses a
// line of the map's grid the third slope jumps and the method falls to second order there. Seen
// with 20 A of grid: 2e-9 at 0.5 us, 5e-8 at 5 us; over 36 drives of other speeds, amplitudes and
// angles at most 9e-9 and 9e-7, the latter where little is supplied.
TEST(Saturation, EnergyBalancesWithCoggingAndIronLosses) {
  EXPECT_LT(std::abs(missing_share(0.5e-6)), 1e-8);
  EXPECT_LT(std::abs(missing_share(5e-6)), 2e-7);
}

// Beyond the map the edge's inductance goes on: by hand, 10 A beyond 150 A on d.
/// Currents in all legs of a machine that saturates, its rotor held at 0.4 rad (electrical).
plant::Drive loaded_soft_iron() {
  plant::Drive drive(soft_iron_drive(SoftIron{}, 5.0));
  drive.start({0.0, 0.4 / drive.parameters().machine.pole_pairs});
  drive.hold_speed_rad_s({0.0, 0.0});
  only_on(drive, {Switch::UH, Switch::VL, Switch::WH});
  advance_by(drive, 400e-6);
  return drive;
}

// The parted terminal alone sees an impulse, along U's axis: the linkage across V and W stays,
// which is the beta component. The inductance where the current was does not hold where it goes:
// by that alone the linkage would be off by much more than a per cent.
TEST(Saturation, APartedConductorLeavesTheLinkageAcrossTheOthers) {
  plant::Drive drive = loaded_soft_iron();
  const double before_A = drive.snapshot().current_A.U, beta_Wb = drive.linkage_Wb()[1];
  ASSERT_GT(std::abs(before_A), 30.0);
  drive.set_phase_open(plant::Leg::U, true);
  EXPECT_NEAR(drive.snapshot().current_A.U, 0.0, 1e-12);
  EXPECT_NEAR(drive.linkage_Wb()[1], beta_Wb, 1e-15);
}

// Beside it a short of l between V and W takes the same impulse, which V and W do not see: its
// current stays. Between U and V it sees 3/2 of the machine's (alpha: 1 on U, -1/2 on V), so its
// current jumps by 3/2 d_alpha / l. Both conductors out, the machine goes on through the short.
TEST(Saturation, AShortBesideAPartedConductorTakesTheSameImpulse) {
  for (const plant::Leg from : {plant::Leg::U, plant::Leg::V}) {
    plant::Drive drive = loaded_soft_iron();
    constexpr double l = 5e-6;
    drive.short_phases(from, 0.05, l);
    advance_by(drive, 100e-6);
    constexpr int phases = static_cast<int>(plant::ShortPlace::phases);
    const auto linkage = drive.linkage_Wb();
    const double short_A = drive.state().extra.short_A[phases];
    ASSERT_GT(std::abs(drive.snapshot().current_A.U), 20.0);
    drive.set_phase_open(plant::Leg::U, true);
    EXPECT_NEAR(drive.snapshot().current_A.U, 0.0, 1e-11);
    EXPECT_NEAR(drive.linkage_Wb()[1], linkage[1], 1e-15);
    const double seen_Wb = from == plant::Leg::U ? 1.5 * (drive.linkage_Wb()[0] - linkage[0]) : 0.0;
    EXPECT_NEAR(drive.state().extra.short_A[phases] - short_A, seen_Wb / l, 1e-8);
    drive.set_phase_open(plant::Leg::W, true);
    EXPECT_EQ(drive.state().i_alpha_A, 0.0);
    EXPECT_EQ(drive.state().i_beta_A, 0.0);
    EXPECT_GT(std::abs(drive.state().extra.short_A[phases]), 1.0);
  }
}

// All legs rest, a quarter of U's turns is shorted and driven round by the rotor. What links the
// shorted turns stays when the magnets cool off, though no line current moves: l i - 1/4 lambda_U.
TEST(Saturation, AShortKeepsItsLinkageWhereNoLegCarries) {
  plant::Drive drive(soft_iron_drive(SoftIron{}, 5.0));
  drive.start();
  hold_electrical(drive, 300.0);
  drive.short_turns(plant::Leg::U, 0.25, 1e-3);
  advance_by(drive, 6e-3);
  ASSERT_EQ(drive.snapshot().current_A.U, 0.0);
  ASSERT_GT(std::abs(drive.state().extra.short_A[0]), 50.0);
  const auto round_Wb = [&] {
    const plant::DriveState& s = drive.state();
    return s.machine.shorts[0].henry * s.extra.short_A[0] - 0.25 * drive.linkage_Wb()[0];
  };
  const double before_Wb = round_Wb(), before_A = drive.state().extra.short_A[0];
  drive.set_machine_temperatures(293.15, 393.15);
  EXPECT_NEAR(round_Wb(), before_Wb, 1e-14);
  EXPECT_GT(std::abs(drive.state().extra.short_A[0] - before_A), 1.0);
}

TEST(Saturation, BeyondTheMapTheEdgesInductanceGoesOnAndTheTimeIsCounted) {
  const SoftIron iron;
  const plant::DriveParameters p = soft_iron_drive(iron, 5.0);
  const plant::FluxMap map(p.machine.flux_map);
  const plant::FluxMap::Values edge = map.at(150.0, 30.0), out = map.at(160.0, 30.0);
  EXPECT_NEAR(out.psi_d, edge.psi_d + 10.0 * edge.l_dd, 1e-15);
  EXPECT_NEAR(out.l_dd, edge.l_dd, 1e-18);
  EXPECT_FALSE(map.covers(160.0, 30.0));
  EXPECT_GT(map.reach(), 0.05);

  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  advance_by(drive, 10e-6);
  EXPECT_EQ(drive.health().outside_map_s, 0.0);
  place(drive, 0.0, {170.0, 0.0});
  advance_by(drive, 10e-6);
  EXPECT_NEAR(drive.health().outside_map_s, 10e-6, 1e-12);
  place(drive, 0.0, {1e5, -1e5});  // far out: nothing breaks
  advance_by(drive, 10e-6);
  EXPECT_TRUE(std::isfinite(drive.state().i_alpha_A) && std::isfinite(drive.state().i_beta_A));
}

std::string refusal(const plant::FluxMapTable& table, double& d, double& q) {
  try {
    const plant::FluxMap map(table);
  } catch (const plant::FluxMapError& error) {
    d = error.i_d_A;
    q = error.i_q_A;
    return error.what();
  }
  return "";
}

using testing::AllOf;
using testing::HasSubstr;

// A q flux that the d current does not answer for: adding k i_d i_q to psi_q alone makes
// d psi_q/d i_d - d psi_d/d i_q = k i_q, largest in the rows of cells at both ends of i_q, 24.5 uH
// in their middles, 245 A.
TEST(Saturation, AMapThatWouldMakeEnergyIsRefusedAtItsCell) {
  plant::FluxMapTable t = SoftIron().table(-250.0, 150.0, -250.0, 250.0, 10.0);
  double d = 0.0, q = 0.0;
  EXPECT_EQ(refusal(t, d, q), "");
  for (std::size_t k = 0; k < t.psi_q_Wb.size(); ++k)
    t.psi_q_Wb[k] += 1e-7 * t.i_d_A[k / t.i_q_A.size()] * t.i_q_A[k % t.i_q_A.size()];
  EXPECT_THAT(refusal(t, d, q),
              AllOf(HasSubstr("d psi_q/d i_d exceeds d psi_d/d i_q by"), HasSubstr("24.5 uH")));
  EXPECT_EQ(std::abs(q + 5.0), 245.0);
}

TEST(Saturation, OneWrongNumberIsRefusedWhereItStands) {
  plant::FluxMapTable t = SoftIron().table(-250.0, 150.0, -250.0, 250.0, 10.0);
  t.psi_d_Wb[20 * 51 + 30] *= 1.2;  // i_d -50 A, i_q 50 A
  double d = 0.0, q = 0.0;
  EXPECT_NE(refusal(t, d, q), "");
  EXPECT_NEAR(d, -50.0, 11.0);
  EXPECT_NEAR(q, 50.0, 11.0);
}

// A reciprocal map whose d flux falls again beyond 100 A: psi_d = 15 mWb + 100 uH i - 0.6 uH/A i^2
// / 2 has L_dd = 100 uH - 0.6 uH/A i, zero at 167 A.
TEST(Saturation, AFluxThatFallsWithItsCurrentIsRefused) {
  plant::FluxMapTable t;
  for (int k = -10; k <= 10; ++k) {
    t.i_d_A.push_back(20.0 * k);
    t.i_q_A.push_back(20.0 * k);
  }
  for (const double d : t.i_d_A)
    for (const double q : t.i_q_A) {
      t.psi_d_Wb.push_back(15e-3 + 100e-6 * d - 0.3e-6 * d * d);
      t.psi_q_Wb.push_back(200e-6 * q);
    }
  double d = 0.0, q = 0.0;
  EXPECT_THAT(refusal(t, d, q), HasSubstr("incremental inductance is"));
  EXPECT_NEAR(d, 167.0, 5.0);
}

TEST(Saturation, GridsThatAreNoneAreRefused) {
  const plant::FluxMapTable good = SoftIron().table(-60.0, 60.0, -60.0, 60.0, 20.0);
  double d = 0.0, q = 0.0;
  plant::FluxMapTable t = good;
  std::swap(t.i_d_A[1], t.i_d_A[2]);
  EXPECT_THAT(refusal(t, d, q), HasSubstr("do not rise"));
  t = SoftIron().table(-60.0, -20.0, -60.0, 60.0, 10.0);
  EXPECT_THAT(refusal(t, d, q), HasSubstr("must enclose 0 A"));
  t = SoftIron().table(-20.0, 20.0, -60.0, 60.0, 20.0);
  EXPECT_THAT(refusal(t, d, q), HasSubstr("has 3 currents; allowed 4 to 400"));
  t = good;
  t.psi_q_Wb.pop_back();
  EXPECT_THAT(refusal(t, d, q), HasSubstr("do not fill the grid"));
  t = good;
  t.psi_q_Wb[5] = std::nan("");
  EXPECT_THAT(refusal(t, d, q), HasSubstr("no number"));
}

}  // namespace
}  // namespace stillrotor::reference
