// Position and current sensors, as levels and volts at the connector.
#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;
constexpr double deg = pi / 180.0;

DriveParameters turntable(int pole_pairs) {
  DriveParameters d;
  d.machine.pole_pairs = pole_pairs;
  d.hall.fitted = true;
  return d;
}

struct Seen {
  SensorLine line;
  bool high;
  double theta_e_deg;
};

/// Turns the shaft at a held speed and notes each edge with the electrical angle since the start.
std::vector<Seen> turn(Drive& drive, double omega_m, double seconds) {
  drive.hold_speed_rad_s({omega_m, 0.0});
  std::vector<Seen> out;
  const std::int64_t end = drive.state().time_ps + static_cast<std::int64_t>(seconds * 1e12);
  for (;;) {
    const Drive::Stop stop = drive.advance(end);
    if (!stop.edge) return out;
    const DriveState& s = drive.state();
    out.push_back({stop.what.line, stop.what.high,
                   (static_cast<double>(s.electrical_turns) * two_pi + s.theta_e_rad) / deg});
  }
}

// Convention of plant/sensors/sensors.hpp: U high from -90 to 90 deg, V and W 120 and 240 deg
// later. From 10 deg: W falls at 30, V rises at 30 (120 - 90) ... by hand:
//   V: high 30..210;  W: high 150..330;  U: high 270..450.
TEST(HallSensors, FlipAtTheAnglesOfTheConventionTurningForward) {
  Drive drive(turntable(1));
  StartState start;
  start.theta_m_rad = 10.0 * deg;
  drive.start(start);
  EXPECT_TRUE(drive.level(SensorLine::hall_U));
  EXPECT_FALSE(drive.level(SensorLine::hall_V));
  EXPECT_FALSE(drive.level(SensorLine::hall_W));
  const auto seen = turn(drive, 100.0, two_pi / 100.0);
  const Seen expected[6] = {{SensorLine::hall_V, true, 30.0},  {SensorLine::hall_U, false, 90.0},
                            {SensorLine::hall_W, true, 150.0}, {SensorLine::hall_V, false, 210.0},
                            {SensorLine::hall_U, true, 270.0}, {SensorLine::hall_W, false, 330.0}};
  ASSERT_EQ(seen.size(), 6U);
  for (std::size_t k = 0; k < 6; ++k) {
    EXPECT_EQ(seen[k].line, expected[k].line) << k;
    EXPECT_EQ(seen[k].high, expected[k].high) << k;
    EXPECT_NEAR(seen[k].theta_e_deg, expected[k].theta_e_deg, 1e-7) << k;
    EXPECT_GE(seen[k].theta_e_deg, expected[k].theta_e_deg - 1e-12) << k;
  }
}

TEST(HallSensors, HysteresisDelaysTheEdgeByHalfOfItBothWays) {
  DriveParameters d = turntable(1);
  d.hall.hysteresis_rad = 4.0 * deg;
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 60.0 * deg;
  drive.start(start);
  auto forward = turn(drive, 100.0, 50.0 * deg / 100.0);  // to 110 deg
  ASSERT_EQ(forward.size(), 1U);
  EXPECT_NEAR(forward[0].theta_e_deg, 92.0, 1e-7);
  auto backward = turn(drive, -100.0, 50.0 * deg / 100.0);  // back to 60 deg
  ASSERT_EQ(backward.size(), 1U);
  EXPECT_EQ(backward[0].line, SensorLine::hall_U);
  EXPECT_TRUE(backward[0].high);
  EXPECT_NEAR(backward[0].theta_e_deg, 88.0, 1e-7);
}

TEST(HallSensors, PlacementErrorMovesOnlyItsOwnLine) {
  DriveParameters d = turntable(1);
  d.hall.placement_error_rad[0] = 1.5 * deg;
  Drive drive(d);
  const auto seen = turn(drive, 100.0, two_pi / 100.0);
  ASSERT_EQ(seen.size(), 6U);
  EXPECT_NEAR(seen[0].theta_e_deg, 30.0, 1e-7);
  EXPECT_NEAR(seen[1].theta_e_deg, 91.5, 1e-7);
  EXPECT_NEAR(seen[4].theta_e_deg, 271.5, 1e-7);
}

TEST(HallSensors, StandingExactlyOnAnEdgeDoesNotChatter) {
  Drive drive(turntable(1));
  StartState start;
  start.theta_m_rad = 80.0 * deg;
  drive.start(start);
  turn(drive, 100.0, 10.0 * deg / 100.0);  // to the edge at 90 deg
  const auto standing = turn(drive, 0.0, 1e-3);
  EXPECT_LE(standing.size(), 1U);
}

// 4 x lines counts a turn, A leads B forward, one index a turn; all of it undone backward.
TEST(Encoder, CountsFourTimesTheLinesATurnAndComesBack) {
  DriveParameters d;
  d.machine.pole_pairs = 3;  // does not divide 4 x 128: boundaries do not fall on electrical turns
  d.encoder = {true, 128, 0.0};
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 0.25 * two_pi / 512.0;  // a quarter of a count past the index boundary
  drive.start(start);
  EXPECT_TRUE(drive.level(SensorLine::encoder_Z));
  const auto forward = turn(drive, 50.0, 3.0 * two_pi / 50.0);
  EXPECT_EQ(drive.state().encoder_count, 3 * 512);
  int a = 0, b = 0, z_rises = 0;
  for (const Seen& e : forward) {
    a += e.line == SensorLine::encoder_A;
    b += e.line == SensorLine::encoder_B;
    z_rises += e.line == SensorLine::encoder_Z && e.high;
  }
  EXPECT_EQ(a, 3 * 256);
  EXPECT_EQ(b, 3 * 256);
  EXPECT_EQ(z_rises, 3);
  EXPECT_EQ(forward[0].line, SensorLine::encoder_A);  // A leads
  EXPECT_TRUE(forward[0].high);
  turn(drive, -50.0, 3.0 * two_pi / 50.0);
  EXPECT_EQ(drive.state().encoder_count, 0);
}

TEST(Encoder, CountsStayTrueAfterAHundredThousandTurns) {
  DriveParameters d;
  d.machine.pole_pairs = 7;
  d.encoder = {true, 100, 0.0};
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 1e5 * two_pi + 0.5 * two_pi / 400.0;
  drive.start(start);
  const std::int64_t first = drive.state().encoder_count;
  EXPECT_EQ(first, 40'000'000);
  turn(drive, 200.0, 10.0 * two_pi / 200.0);
  EXPECT_EQ(drive.state().encoder_count - first, 4000);
}

// First-order lag to a ramp input: i = a t  ->  a (t - tau (1 - exp(-t / tau))). Source: textbook.
TEST(CurrentSensor, InLineSensorLagsByItsBandwidth) {
  DriveParameters d;
  d.machine.winding_resistance_ohm = 1e-3;
  d.machine.inductance_d_H = d.machine.inductance_q_H = 1e-3;
  d.shaft.inertia_kg_m2 = 1e3;
  d.phase_current.kind = CurrentSensing::in_line;
  d.phase_current.bandwidth_Hz = 100e3;
  Drive drive(d);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(4 * us);
  const double i = drive.snapshot().current_A.U, slope = i / 4e-6, tau = 1.0 / (two_pi * 100e3);
  const double expected = slope * (4e-6 - tau * (1.0 - std::exp(-4e-6 / tau)));
  EXPECT_NEAR(drive.phase_current_sense_V(Leg::U), 2.5 + 0.02 * expected, 0.02 * 1e-4);
  EXPECT_NEAR(drive.phase_current_sense_V(Leg::V), 2.5 - 0.02 * expected, 0.02 * 1e-4);
}

TEST(CurrentSensor, LowSideShuntSeesOnlyTheLowSwitchAndReadsNegativeForPositiveCurrent) {
  DriveParameters d;
  d.shaft.inertia_kg_m2 = 1e3;
  d.phase_current.kind = CurrentSensing::low_side_shunt;
  d.phase_current.bandwidth_Hz = 1e6;
  Drive drive(d);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(30 * us);
  // U is high: its shunt sees nothing. V carries -i: its shunt sees +i.
  EXPECT_NEAR(drive.phase_current_sense_V(Leg::U), 2.5, 1e-9);
  EXPECT_GT(drive.phase_current_sense_V(Leg::V), 2.55);
  drive.set_switch(Switch::UH, false);
  drive.advance(33 * us);  // U freewheels through the low diode: its shunt now sees -i
  EXPECT_LT(drive.phase_current_sense_V(Leg::U), 2.45);
}

TEST(CurrentSensor, SaturatesAtTheAmplifiersRails) {
  DriveParameters d;
  d.shaft.inertia_kg_m2 = 1e3;
  d.phase_current.kind = CurrentSensing::in_line;
  for (double& g : d.phase_current.gain_V_per_A) g = 1.0;
  Drive drive(d);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.advance(100 * us);
  EXPECT_GT(drive.snapshot().current_A.U, 5.0);
  EXPECT_EQ(drive.phase_current_sense_V(Leg::U), 5.0);
  EXPECT_EQ(drive.phase_current_sense_V(Leg::V), 0.0);
}

TEST(BusVoltageSensor, DividesTheBusAtTheBridge) {
  DriveParameters d;
  Drive drive(d);
  EXPECT_NEAR(drive.bus_voltage_sense_V(), 0.05 * 48.0, 1e-12);
}

// Flux linkages of the two circuits that stay closed are conserved: with U cut, the loop V-W keeps
// psi_V - psi_W. Source: derived (constant flux linkage), plant/faults/phase_open.hpp.
TEST(PhaseOpen, CutsTheCurrentAndKeepsTheFluxOfTheOtherLoop) {
  DriveParameters d;
  d.machine.inductance_q_H = 300e-6;
  d.shaft.inertia_kg_m2 = 1e3;
  Drive drive(d);
  StartState start;
  start.theta_m_rad = 0.2;
  drive.start(start);
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  drive.set_switch(Switch::WL, true);
  drive.advance(200 * us);
  const auto loop_flux = [&] {
    const DriveState& s = drive.state();
    const Dq i = park({s.i_alpha_A, s.i_beta_A}, s.cos_e, s.sin_e);
    const AlphaBeta flux = unpark({150e-6 * i.d, 300e-6 * i.q}, s.cos_e, s.sin_e);
    const Phases f = phases(flux);
    return f.V - f.W;
  };
  const double before = loop_flux();
  ASSERT_GT(std::abs(drive.snapshot().current_A.U), 5.0);
  drive.set_phase_open(Leg::U, true);
  EXPECT_NEAR(drive.snapshot().current_A.U, 0.0, 1e-12);
  EXPECT_NEAR(loop_flux(), before, 1e-12);
  drive.advance(400 * us);
  EXPECT_NEAR(drive.snapshot().current_A.U, 0.0, 1e-9);
}

}  // namespace
}  // namespace stillrotor::plant
