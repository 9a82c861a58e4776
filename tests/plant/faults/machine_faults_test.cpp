// Shorts of windings against hand calculations, an independent set of coupled coils and the energy
// balance; magnets, bearing, tyre and freewheel against hand calculations.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "plant/bridge/conduction.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {
namespace {

using plant::Leg;
using plant::ShortPlace;

// Standstill, U high, V low, W off, shorted from U to V by 10 mohm: between the terminals stand
// v = 48 V / (1 + 2 R_on (1/R_f + 1/2R)) = 25.53 V, 2553 A in the short, 255 A in the windings.
// When the short ends the legs go on with the windings' current, and no linkage has moved.
// Tolerance: exp(-20) of the windings' transient.
TEST(PhaseShort, CarriesTheTerminalVoltageOverItsResistance) {
  const plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  drive.short_phases(Leg::U, 10e-3, 1e-6);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 60e-3);
  const double winding_ohm = 2.0 * p.machine.winding_resistance_ohm;
  const double v = 48.0 / (1.0 + 8e-3 * (1.0 / 10e-3 + 1.0 / winding_ohm));
  EXPECT_NEAR(v, 25.53, 0.01);
  EXPECT_NEAR(drive.state().extra.short_A[1] / (v / 10e-3), 1.0, 1e-7);
  EXPECT_NEAR(drive.snapshot().current_A.U / (v / 10e-3 + v / winding_ohm), 1.0, 1e-7);
  EXPECT_NEAR(drive.snapshot().winding_A.U / (v / winding_ohm), 1.0, 1e-7);
  const auto linkage = drive.linkage_Wb();
  const double charge_V = drive.state().v_cap_V;
  drive.end_short(ShortPlace::phases);
  EXPECT_NEAR(drive.snapshot().current_A.U / (v / winding_ohm), 1.0, 1e-7);
  for (std::size_t k = 0; k < 3; ++k) EXPECT_NEAR(drive.linkage_Wb()[k], linkage[k], 1e-14);
  EXPECT_EQ(drive.state().v_cap_V, charge_V);
  EXPECT_EQ(drive.state().machine.model, plant::MachineModel::linear_magnet);
}

// All gates off, a machine that turns so fast that it charges the link: diodes carry, or rest. When
// a short of turns ends, the machine's currents go on, also where a leg rested or its diode carried
// the other way, and with them every linkage.
TEST(TurnShort, EndsWithEveryLinkageWhateverDiodesCarried) {
  plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 1.5 * p.supply.voltage_V / p.machine.flux_linkage_Wb);
  drive.short_turns(Leg::W, 0.3, 2e-3);
  int turned_round = 0;
  for (int n = 0; n < 200; ++n) {
    advance_by(drive, 7e-6);
    const plant::DriveState before = drive.state();
    const auto linkage = drive.linkage_Wb();
    drive.end_short(ShortPlace::turns);
    for (std::size_t k = 0; k < 2; ++k) EXPECT_NEAR(drive.linkage_Wb()[k], linkage[k], 1e-15);
    for (std::size_t k = 0; k < 3; ++k)
      turned_round += plant::conducts(before.leg[k]) && before.leg[k] != drive.state().leg[k];
    drive.restore(before);
  }
  EXPECT_GT(turned_round, 5);
}

// A salient one without a short, whose magnets lose flux at once: what that would turn round in
// a diode ends at zero, and the linkage across the others stays; else every linkage stays.
TEST(MagnetsLoseFlux, DiodesEndAndTheLinkageAcrossTheOthersStays) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_q_H = 2.0 * p.machine.inductance_d_H;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 1.5 * p.supply.voltage_V / p.machine.flux_linkage_Wb);
  int ended = 0, all_went_on = 0;
  for (int n = 0; n < 1000; ++n) {
    advance_by(drive, 1.3e-6);
    const plant::DriveState before = drive.state();
    const plant::Phases i = drive.snapshot().current_A;
    const auto linkage = drive.linkage_Wb();
    drive.demagnetise(0.05);
    const auto now = drive.linkage_Wb();
    const plant::Phases to = drive.snapshot().current_A;
    const double from_A[3] = {i.U, i.V, i.W}, to_A[3] = {to.U, to.V, to.W};
    int carrying = 0, resting = 0;
    for (int k = 0; k < 3; ++k) {
      EXPECT_GE(from_A[k] * to_A[k], -1e-12) << "turned round";
      carrying += std::abs(from_A[k]) > 1e-6;
      if (std::abs(to_A[k]) < 1e-9) resting = k;
    }
    const bool still = std::abs(to_A[resting]) > 1e-9;
    if (carrying == 3 && !still) {
      const plant::AlphaBeta n_k = plant::leg_axis[static_cast<std::size_t>(resting)];
      EXPECT_NEAR(-n_k.beta * now[0] + n_k.alpha * now[1],
                  -n_k.beta * linkage[0] + n_k.alpha * linkage[1], 1e-15);
      ++ended;
    } else if (carrying == 3) {
      for (std::size_t k = 0; k < 2; ++k) EXPECT_NEAR(now[k], linkage[k], 1e-15);
      ++all_went_on;
    }
    drive.restore(before);
  }
  EXPECT_GT(ended, 5);
  EXPECT_GT(all_went_on, 5);
}

// 30 % of U's turns shorted, a third harmonic h of the back-EMF, all low switches on: the terminals
// see no impulse, so l di = 0.3 d_psi h/3 cos 3 theta goes round the short, l = 0.09 L_0 / 3 or 5
// us times what the short shows.
TEST(MagnetsLoseFlux, TriplensOfShortedTurnsPushTheShort) {
  plant::DriveParameters p = stiff_drive();
  p.machine.back_emf = {{1, 1.0}, {3, 0.2}};
  plant::Drive drive(p);
  constexpr double theta_e = 0.2;
  drive.start({0.0, theta_e / p.machine.pole_pairs});
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  drive.short_turns(Leg::U, 0.3, 2e-3);
  const double shown_ohm = 2e-3 + 0.3 * (1.0 - 0.2) * p.machine.winding_resistance_ohm;
  const double henry = std::max(0.03 * p.machine.inductance_zero_H, 5e-6 * shown_ohm);
  drive.demagnetise(0.1);
  const double lost_Wb = 0.1 * p.machine.flux_linkage_Wb;
  EXPECT_NEAR(drive.state().extra.short_A[0],
              -0.3 * lost_Wb * 0.2 / 3.0 * std::cos(3.0 * theta_e) / henry, 1e-9);
}

// Standstill, U grounded by 20 mohm, R_on 4 mohm, windings 2 R in series, 48 V that do not give
// way. U high, V low: v_U (1/R_g + 1/(2 R + R_on)) = (48 V - v_U) / R_on, so the switch carries
// both. V high, all else off: V - machine - U's ground, W floats between. All off: W alone cannot
// carry, and what flows in U and V dies through R_g and V's diode.
TEST(GroundShort, FeedsMachineAndShortByHand) {
  const plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  drive.keep_ledger(true);
  hold_electrical(drive, 0.0);
  const double ground = 20e-3, on = p.bridge.switch_on_resistance_ohm,
               winding = 2.0 * p.machine.winding_resistance_ohm;
  drive.ground_phase(Leg::U, ground);
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 60e-3);
  const double bus = drive.snapshot().bus_V;
  const double u = bus / on / (1.0 / on + 1.0 / ground + 1.0 / (winding + on));
  EXPECT_NEAR(drive.snapshot().terminal_V.U / u, 1.0, 1e-6);
  EXPECT_NEAR(drive.snapshot().current_A.U / (u / (winding + on)), 1.0, 1e-6);
  EXPECT_NEAR(drive.snapshot().bridge_A / (u / ground + u / (winding + on)), 1.0, 1e-6);
  EXPECT_FALSE(drive.snapshot().shoot_through);
  only_on(drive, {Switch::VH});
  advance_by(drive, 60e-3);
  EXPECT_NEAR(drive.snapshot().current_A.V / (drive.snapshot().bus_V / (winding + on + ground)),
              1.0, 1e-6);
  EXPECT_NEAR(drive.snapshot().terminal_V.U, ground * drive.snapshot().current_A.V, 1e-6);
  only_on(drive, {Switch::UL, Switch::WH});
  advance_by(drive, 60e-3);
  const double low = on * ground / (on + ground);
  EXPECT_NEAR(drive.snapshot().current_A.W / (drive.snapshot().bus_V / (winding + on + low)), 1.0,
              1e-6);
  only_on(drive, {});
  advance_by(drive, 60e-3);
  EXPECT_NEAR(drive.snapshot().current_A.W, 0.0, 1e-6);
  drive.end_ground();
  only_on(drive, {Switch::UH, Switch::VL});
  advance_by(drive, 60e-3);
  EXPECT_NEAR(drive.snapshot().current_A.U / (drive.snapshot().bus_V / (winding + 2.0 * on)), 1.0,
              1e-6);
  EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

// Open terminals, too slow for the diodes: e = w psi = 0.12 V. Round the shorted tenth of a winding
// mu e drives i = mu e / (R_f + mu R), by hand 12 mV / 6 mohm = 2 A peak; it brakes with
// (mu e)^2 / 2 (R_f + mu R) / w_m. Tolerance: w tau of the loop, 1e-4 in phase, its square in size.
TEST(TurnShort, CirculatesAtLowSpeedByHand) {
  plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  const double w = 10.0, mu = 0.1, ohm = 1e-3;
  hold_electrical(drive, w);
  drive.short_turns(Leg::U, mu, ohm);
  advance_by(drive, plant::two_pi / w);
  drive.keep_ledger(true);
  double peak_A = 0.0;
  for (int n = 0; n < 400; ++n) {
    advance_by(drive, plant::two_pi / w / 400.0);
    peak_A = std::max(peak_A, std::abs(drive.state().extra.short_A[0]));
  }
  const double emf_V = mu * w * p.machine.flux_linkage_Wb;
  const double loop_ohm = ohm + mu * p.machine.winding_resistance_ohm;
  EXPECT_NEAR(peak_A, emf_V / loop_ohm, 1e-3 * peak_A);
  EXPECT_NEAR(emf_V / loop_ohm, 2.0, 1e-9);
  const double heat_J = 0.5 * emf_V * emf_V / loop_ohm * plant::two_pi / w;
  EXPECT_NEAR(drive.state().dissipated_J / heat_J, 1.0, 1e-5);
  EXPECT_NEAR(drive.state().mechanical_J / heat_J, -1.0, 1e-5);
  EXPECT_EQ(drive.snapshot().current_A.U, 0.0);
}

/// The same machine written a second time: four coils, those of the shorted winding in two parts,
/// lambda = N Lambda(theta) N^T i + N psi(theta), constant speed, every terminal at the rail
/// through leg_ohm. x = (i_U, i_V, i_f); i_W = -i_U - i_V; the shorted coil carries i_U - i_f.
struct FourCoils {
  using State = std::array<double, 3>;
  const plant::PermanentMagnetParameters& m;
  double mu, short_ohm, leakage_H, leg_ohm, w;

  static double axis(int winding) { return winding * plant::two_pi / 3.0; }
  /// Between windings j and k, and its slope by the angle.
  double lambda_H(int j, int k, double theta) const {
    const double l0 = 0.5 * (m.inductance_d_H + m.inductance_q_H);
    const double l2 = 0.5 * (m.inductance_d_H - m.inductance_q_H);
    return 2.0 / 3.0 *
               (l0 * std::cos(axis(j) - axis(k)) + l2 * std::cos(2.0 * theta - axis(j) - axis(k))) +
           m.inductance_zero_H / 3.0;
  }
  double slope_H(int j, int k, double theta) const {
    return -2.0 / 3.0 * (m.inductance_d_H - m.inductance_q_H) *
           std::sin(2.0 * theta - axis(j) - axis(k));
  }
  double emf_V(int k, double theta) const {
    double e = 0.0;
    for (const auto& h : shape_of(m))
      e -= w * m.flux_linkage_Wb * h.ratio * std::sin(h.order * (theta - axis(k)));
    return e;
  }
  State rate(const State& x, double theta) const {
    constexpr int winding[4] = {0, 0, 1, 2};
    const double turns[4] = {1.0 - mu, mu, 1.0, 1.0};
    constexpr double of[4][3] = {{1, 0, 0}, {1, 0, -1}, {0, 1, 0}, {-1, -1, 0}};
    constexpr double sum[3][4] = {{1, 1, -1, 0}, {0, 0, 1, -1}, {0, 1, 0, 0}};  // u-v, v-w, short
    double a[3][4] = {};  // and the right-hand side
    const double i_w = -x[0] - x[1];
    const double v[3] = {-leg_ohm * (x[0] - x[1]), -leg_ohm * (x[1] - i_w), short_ohm * x[2]};
    double back[4];
    for (int c = 0; c < 4; ++c) {
      const double i = of[c][0] * x[0] + of[c][1] * x[1] + of[c][2] * x[2];
      back[c] = turns[c] * (m.winding_resistance_ohm * i + emf_V(winding[c], theta));
      for (int d = 0; d < 4; ++d) {
        const double i_d = of[d][0] * x[0] + of[d][1] * x[1] + of[d][2] * x[2];
        const double both = turns[c] * turns[d];
        back[c] += w * both * slope_H(winding[c], winding[d], theta) * i_d;
        for (int r = 0; r < 3; ++r)
          for (int s = 0; s < 3; ++s)
            a[r][s] += sum[r][c] * both * lambda_H(winding[c], winding[d], theta) * of[d][s];
      }
    }
    a[2][2] -= leakage_H;
    for (int r = 0; r < 3; ++r) {
      a[r][3] = v[r];
      for (int c = 0; c < 4; ++c) a[r][3] -= sum[r][c] * back[c];
    }
    for (int r = 0; r < 3; ++r)  // Gauss and Jordan; diagonal entries are largest
      for (int k = 0; k < 3; ++k) {
        if (k == r) continue;
        const double f = a[k][r] / a[r][r];
        for (int s = 0; s < 4; ++s) a[k][s] -= f * a[r][s];
      }
    return {a[0][3] / a[0][0], a[1][3] / a[1][1], a[2][3] / a[2][2]};
  }
  State moved(const State& x, double theta, double h) const {
    const auto at = [&](const State& k, double f) {
      return State{x[0] + f * k[0], x[1] + f * k[1], x[2] + f * k[2]};
    };
    const State k1 = rate(x, theta), k2 = rate(at(k1, 0.5 * h), theta + 0.5 * w * h);
    const State k3 = rate(at(k2, 0.5 * h), theta + 0.5 * w * h);
    const State k4 = rate(at(k3, h), theta + w * h);
    State out = x;
    for (std::size_t n = 0; n < 3; ++n) out[n] += h / 6.0 * (k1[n] + 2.0 * (k2[n] + k3[n]) + k4[n]);
    return out;
  }
};

// All low switches on, 1000 rad/s, salient, with third and fifth harmonic; RK4 at 0.5 us over two
// turns. Tolerance: both integrations' errors, 1e-6 of the short's 15 A.
TEST(TurnShort, MovesLikeFourCoupledCoils) {
  plant::DriveParameters p = stiff_drive();
  p.machine.inductance_q_H = 250e-6;
  p.machine.back_emf = {{1, 1.0}, {3, 0.15}, {5, 0.05}};
  p.step_max_s = 1e-6;
  const double w = 1000.0, mu = 0.2, ohm = 20e-3;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, w);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  drive.short_turns(Leg::U, mu, ohm);
  const double own_H = mu * mu * p.machine.inductance_zero_H / 3.0;
  const FourCoils coils{p.machine, mu, ohm, drive.state().machine.shorts[0].henry - own_H, 4e-3, w};
  FourCoils::State x{};
  const double h = 0.5e-6;
  double worst_A = 0.0, peak_A = 0.0;
  for (int n = 0; n < 25000; ++n) {
    x = coils.moved(x, w * n * h, h);
    if (n % 500 != 499) continue;
    advance_to(drive, ps((n + 1) * h));
    const plant::Phases i = drive.snapshot().current_A;
    worst_A = std::max({worst_A, std::abs(i.U - x[0]), std::abs(i.V - x[1]),
                        std::abs(drive.state().extra.short_A[0] - x[2])});
    peak_A = std::max(peak_A, std::abs(x[2]));
  }
  EXPECT_GT(peak_A, 10.0);
  EXPECT_LT(worst_A, 1e-6 * peak_A);
}

plant::DriveParameters of_kind(const std::string& kind, double step_max_s = 1e-6) {
  plant::DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.back_emf = {{1, 1.0}, {3, 0.15}, {5, 0.05}};
  p.step_max_s = step_max_s;
  if (kind == "delta") p.machine.connection = plant::Connection::delta;
  if (kind == "induction")
    p.induction = plant::InductionParameters{2, 50e-3, 0.1e-3, 40e-3, 0.1e-3, 3e-3};
  return p;
}

// Everything supplied is stored, turned or heat, through both shorts, their begin and their end,
// floating legs and a parting cable included. Tolerance: RK4 of 1 us and its quadratures.
TEST(WindingShorts, KeepTheEnergyBalanceOnEveryMachine) {
  constexpr Switch pattern[6][2] = {{Switch::UH, Switch::VL}, {Switch::UH, Switch::WL},
                                    {Switch::VH, Switch::WL}, {Switch::VH, Switch::UL},
                                    {Switch::WH, Switch::UL}, {Switch::WH, Switch::VL}};
  for (const std::string kind : {"star", "delta", "induction"}) {
    SCOPED_TRACE(kind);
    plant::Drive drive(of_kind(kind, 0.25e-6));
    drive.start({150.0, 0.1, -1.0});
    drive.keep_ledger(true);
    const double before_J = drive.stored_J();
    for (int n = 0; n < 60; ++n) {
      if (n == 5) drive.short_turns(Leg::V, 0.2, 30e-3);
      if (n == 15) drive.short_phases(Leg::W, 50e-3, 2e-6);
      if (n == 30) drive.end_short(ShortPlace::turns);
      if (n == 40) drive.set_phase_open(Leg::W, true);
      if (n == 45) drive.end_short(ShortPlace::phases);
      if (n == 50) drive.set_phase_open(Leg::W, false);
      only_on(drive, {pattern[n / 10][0], pattern[n / 10][1]});
      advance_by(drive, 30e-6);
      only_on(drive, {});
      advance_by(drive, 20e-6);
    }
    const plant::DriveState& s = drive.state();
    const double left_J =
        s.supplied_J - s.mechanical_J - s.dissipated_J - (drive.stored_J() - before_J);
    EXPECT_GT(s.supplied_J, 0.1);
    EXPECT_LT(std::abs(left_J), 2e-6 * s.supplied_J);
    EXPECT_EQ(drive.health().inconsistent_modes, 0u);
    EXPECT_EQ(drive.health().forced_steps, 0u);
  }
}

// Two steps of six and coasting at speed, over and over: what the supply gives is stored, turned or
// burnt, to the accuracy of the integration.
TEST(GroundShort, KeepsTheBooks) {
  plant::Drive drive(of_kind("star"));
  drive.start();
  hold_electrical(drive, 300.0);
  drive.keep_ledger(true);
  const double before_J = drive.stored_J();
  drive.ground_phase(Leg::V, 0.1);
  for (int n = 0; n < 60; ++n) {
    if (n % 2 == 0)
      only_on(drive, {Switch::UH, Switch::VL});
    else
      only_on(drive, {Switch::VH, Switch::WL});
    advance_by(drive, 30e-6);
    only_on(drive, {});
    advance_by(drive, 20e-6);
  }
  const plant::DriveState& s = drive.state();
  const double left_J =
      s.supplied_J - s.mechanical_J - s.dissipated_J - (drive.stored_J() - before_J);
  EXPECT_GT(s.supplied_J, 0.1);
  EXPECT_LT(std::abs(left_J), 2e-6 * s.supplied_J);
  EXPECT_EQ(drive.health().inconsistent_modes, 0U);
  EXPECT_EQ(drive.health().forced_steps, 0U);
}

// A fifth of a winding shorted while the magnets cool and warm: what is linked stays linked. The
// shorted turns link the zero sequence psi sum h_n / n cos n theta of the triplen orders n as well,
// which is the same in every winding and in no terminal.
TEST(WindingShorts, KeepLinkagesWhenTheMagnetsChange) {
  for (const bool floating : {false, true}) {
    plant::DriveParameters p = of_kind("star");
    plant::Drive drive(p);
    drive.start();
    drive.short_turns(Leg::U, 0.2, 30e-3);
    place(drive, 0.4, {10.0, 5.0});
    hold_electrical(drive, 500.0);
    if (floating) {
      place(drive, 0.4, {0.0, 12.0});
      only_on(drive, {Switch::VH, Switch::WL});
    }
    advance_by(drive, 50e-6);
    const auto loop_Wb = [&] {
      const plant::DriveState& s = drive.state();
      const double zero = s.machine.flux_linkage_Wb * p.machine.back_emf[1].ratio / 3.0 *
                          std::cos(3.0 * s.theta_e_rad);
      return s.machine.shorts[0].henry * s.extra.short_A[0] - 0.2 * (drive.linkage_Wb()[0] + zero);
    };
    const auto linkage = drive.linkage_Wb();
    const double loop = loop_Wb();
    drive.set_machine_temperatures(293.15, 393.15);
    EXPECT_NEAR(loop_Wb(), loop, 1e-14);
    if (!floating) {
      EXPECT_NEAR(drive.linkage_Wb()[0], linkage[0], 1e-14);
    }
    EXPECT_NEAR(drive.linkage_Wb()[1], linkage[1], 1e-14);
  }
}

// Two cables touch through 1 uH while one of them lies on the frame through 10 ohm and the bridge
// is off: what flows from one to the other by the frame meets its resistance, L / R = 0.1 us, where
// the short beside closed legs would allow steps of 14 us. Steps of 0.1 us are the measure; both
// are an eighth of that time constant then.
TEST(WindingShorts, StepByTheGroundThatTheirCurrentMeets) {
  const auto left_A = [](double step_max_s) {
    plant::DriveParameters p = stiff_drive();
    p.step_max_s = step_max_s;
    plant::Drive drive(p);
    drive.start();
    hold_electrical(drive, 0.0);
    place(drive, 0.0, {20.0, 10.0});
    only_on(drive, {Switch::VL});
    drive.short_phases(Leg::U, 1e-3, 1e-6);
    drive.ground_phase(Leg::U, 10.0);
    advance_by(drive, 200e-6);
    EXPECT_EQ(drive.health().forced_steps, 0U);
    return drive.snapshot().winding_A;
  };
  const plant::Phases coarse = left_A(50e-6), fine = left_A(0.1e-6);
  EXPECT_GT(std::abs(fine.U), 1.0);
  EXPECT_NEAR(coarse.U, fine.U, 1e-6 * std::abs(fine.U));
  EXPECT_NEAR(coarse.V, fine.V, 1e-6 * std::abs(fine.U));
}

// A fifth of the flux at once, all low switches on: i_d takes over 0.2 psi / L_d = 16 A; nothing of
// it comes back. At least a twentieth stays.
TEST(Demagnetised, TheCurrentsTakeOverWhatTheMagnetsLose) {
  const plant::DriveParameters p = stiff_drive();
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  only_on(drive, {Switch::UL, Switch::VL, Switch::WL});
  ASSERT_TRUE(drive.demagnetise(0.2));
  EXPECT_NEAR(drive.snapshot().current_dq_A.d,
              0.2 * p.machine.flux_linkage_Wb / p.machine.inductance_d_H, 1e-9);
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, 0.8 * p.machine.flux_linkage_Wb, 1e-15);
  drive.set_machine_temperatures(293.15, 353.15);
  drive.set_machine_temperatures(293.15, 293.15);
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, 0.8 * p.machine.flux_linkage_Wb, 1e-15);
  drive.demagnetise(1.0);
  EXPECT_NEAR(drive.state().machine.flux_linkage_Wb, 0.05 * p.machine.flux_linkage_Wb, 1e-15);
  plant::Drive pump(of_kind("induction"));
  EXPECT_FALSE(pump.demagnetise(0.2));
}

// All gates off, diodes carry -1, -9 and 10 A; the magnets' axis stands on U. They lose 2 % of
// their flux: i_d would gain 0.02 * 12 mWb / 150 uH = 1.6 A and turn U's current round, which ends
// instead. U's axis links nothing of what flows from V to W: 19 A between them stay.
TEST(Demagnetised, DiodeEndsWhereItsCurrentWouldTurnRound) {
  plant::Drive drive(stiff_drive());
  hold_electrical(drive, 0.0);
  place(drive, 0.0, plant::clarke({-1.0, -9.0, 10.0}));
  only_on(drive, {});
  const auto before = drive.linkage_Wb();
  ASSERT_TRUE(drive.demagnetise(0.02));
  const plant::Phases i = drive.snapshot().current_A;
  EXPECT_NEAR(i.U, 0.0, 1e-9);
  EXPECT_NEAR(i.V, -9.5, 1e-9);
  EXPECT_NEAR(i.W, 9.5, 1e-9);
  EXPECT_EQ(drive.state().leg[0], plant::Conduction::floating);
  EXPECT_NEAR(drive.linkage_Wb()[1], before[1], 1e-12);
}

// J dw/dt = -T: 100 rad/s are gone after J w / T = 1e-3 * 100 / 0.5 = 0.2 s, and the rotor stands
// until the torque exceeds it. Its own friction of none comes back with the end.
TEST(BearingSeized, BrakesToAStandstill) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.inertia_kg_m2 = 1e-3;
  plant::Drive drive(p);
  drive.start({100.0, 0.0, -1.0});
  const plant::DriveState before = drive.state();
  drive.set_bearing_friction_Nm(0.5);
  advance_to(drive, ps(0.1));
  EXPECT_NEAR(drive.state().omega_m_rad_s, 50.0, 1e-9);
  const plant::DriveState half = drive.state();
  advance_to(drive, ps(0.3));
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  drive.set_load_torque_Nm({-0.49, 0.0});
  advance_by(drive, 10e-3);
  EXPECT_EQ(drive.state().omega_m_rad_s, 0.0);
  drive.set_load_torque_Nm({-0.6, 0.0});
  advance_by(drive, 10e-3);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 0.1 / 1e-3 * 10e-3, 1e-9);
  // Friction is part of the state that a checkpoint brings back.
  drive.restore(before);
  advance_by(drive, 0.1);
  EXPECT_EQ(drive.state().omega_m_rad_s, 100.0);
  drive.restore(half);
  drive.set_bearing_friction_Nm(0.0);
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 50.0, 1e-9);
}

// 120 kg of which all weighs on the driven wheel, mu = 0.8 of which a tenth is left: the tyre
// passes at most 0.08 * 120 kg * g * r = 23.5 Nm while the wheel spins away from the road.
TEST(WheelSlip, TheTyrePassesOnWhatGripIsLeft) {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coupling = plant::Coupling::slipping;
  p.shaft.cart_mass_kg = 120.0;
  p.shaft.inertia_kg_m2 = 0.1;
  plant::Drive drive(p);
  drive.start();
  drive.set_grip_share(0.1);
  double most_Nm = 0.0;
  drive.hold_speed_rad_s({0.0, 100.0});
  for (int n = 0; n < 200; ++n) {
    advance_by(drive, 1e-3);
    most_Nm = std::max(most_Nm, drive.snapshot().through_Nm);
  }
  const double grip_Nm = 0.8 * 120.0 * 9.80665 * 0.25;
  EXPECT_NEAR(most_Nm / (0.1 * grip_Nm), 1.0, 1e-3);
  drive.set_grip_share(1.0);
  EXPECT_GT(drive.snapshot().through_Nm, 5.0 * 0.1 * grip_Nm);
}

plant::DriveParameters with_freewheel() {
  plant::DriveParameters p = stiff_drive();
  p.shaft.coupling = plant::Coupling::freewheel;
  p.shaft.inertia_kg_m2 = 0.01;
  p.shaft.load_inertia_kg_m2 = 0.09;
  return p;
}

// Slipping, the motor turns its own inertia alone and the load stays. Locked, both meet by
// momentum, 0.1 of 10 rad/s, and the load pulls the motor along when it would run ahead.
TEST(FreewheelFailed, PassesNothingOrEverything) {
  plant::Drive drive(with_freewheel());
  drive.start();
  drive.set_freewheel(plant::FreewheelFault::slips);
  drive.hold_speed_rad_s({0.0, 100.0});
  advance_by(drive, 0.1);
  drive.release_speed();
  EXPECT_NEAR(drive.state().omega_m_rad_s, 10.0, 1e-9);
  EXPECT_NEAR(drive.snapshot().omega_2_rad_s, 0.0, 1e-12);
  drive.set_freewheel(plant::FreewheelFault::locked);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 1.0, 1e-9);
  drive.set_load_torque_Nm({-0.5, 0.0});  // drives the load side
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 1.0 + 0.5 / 0.1 * 0.1, 1e-9);
  drive.set_freewheel(plant::FreewheelFault::none);
  advance_by(drive, 0.1);
  EXPECT_NEAR(drive.state().omega_m_rad_s, 1.5, 1e-9);
  EXPECT_NEAR(drive.snapshot().omega_2_rad_s, 1.5 + 0.5 / 0.09 * 0.1, 1e-9);
}

/// Motor and load side at these speeds when the freewheel locks, behind a gear of 80 %.
double locks_at(double omega, double omega_2) {
  plant::DriveParameters p = with_freewheel();
  p.shaft.gear_efficiency = 0.8;
  plant::Drive drive(p);
  drive.start({omega_2, 0.0, -1.0});
  drive.set_freewheel(plant::FreewheelFault::slips);
  drive.hold_speed_rad_s({omega, 0.0});
  drive.release_speed();
  drive.set_freewheel(plant::FreewheelFault::locked);
  EXPECT_NEAR(drive.snapshot().omega_2_rad_s, drive.state().omega_m_rad_s, 1e-12);
  return drive.state().omega_m_rad_s;
}

// By hand: J d_omega = -g J_2 d_omega_2, the impulse's own gear: 1/0.8 while it drives the way the
// rotor turns, 0.8 while it brakes. From 10 rad/s to a load at rest 10 J / (J + J_2/0.8); pulled
// along by the load 0.8 J_2 10 / (J + 0.8 J_2); both backward: the load, slower, brakes. Through
// rest: -10 rad/s takes 0.1 N m s of the motor side and 0.08 of the load's 0.9 (g = 1/0.8) to stop,
// then 0.82 N m s with g = 0.8 set both moving. The load alone is charged with rounding.
TEST(FreewheelFailed, LosesInTheGearWhatTheImpulseLoses) {
  constexpr double J = 0.01, J_2 = 0.09;
  EXPECT_NEAR(locks_at(10.0, 0.0), 10.0 * J / (J + J_2 / 0.8), 1e-12);
  EXPECT_NEAR(locks_at(0.0, 10.0), 0.8 * J_2 * 10.0 / (J + 0.8 * J_2), 1e-12);
  EXPECT_NEAR(locks_at(-10.0, 0.0), -10.0 * J / (J + J_2 / 0.8), 1e-12);
  EXPECT_NEAR(locks_at(-10.0, 10.0), 0.8 * 0.82 / (J + 0.8 * J_2), 1e-12);
}

}  // namespace
}  // namespace stillrotor::reference
