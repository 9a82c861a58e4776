// What the plant says of a moment ahead, against that moment itself.
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <random>

#include "plant/drive.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;
constexpr SensorLine position_lines[] = {SensorLine::hall_U,    SensorLine::hall_V,
                                         SensorLine::hall_W,    SensorLine::encoder_A,
                                         SensorLine::encoder_B, SensorLine::encoder_Z};

DriveParameters coasting() {
  DriveParameters d;
  d.machine.pole_pairs = 4;
  d.machine.flux_linkage_Wb = 20e-3;
  d.hall.fitted = true;
  d.hall.hysteresis_rad = 0.05;
  d.hall.jitter_rad = 0.02;
  d.encoder.fitted = true;
  d.encoder.lines = 100;
  d.encoder.missing_lines = {3, 50};
  d.sin_cos.fitted = true;
  d.phase_voltage.fitted = true;
  d.shaft.inertia_kg_m2 = 1e-3;
  d.shaft.coulomb_friction_Nm = 0.2;
  return d;
}

void go(Drive& drive, std::int64_t to_ps) {
  while (drive.advance(to_ps).edge) {
  }
}

std::uint32_t levels(const Drive& drive) {
  std::uint32_t bits = 0;
  for (const SensorLine line : position_lines)
    bits = 2 * bits + static_cast<std::uint32_t>(drive.level(line));
  return bits;
}

// All switches off below the voltage at which diodes conduct: the shaft coasts by friction alone,
// so its acceleration is constant, and terminals show nothing but the back-EMF.
TEST(TurnAhead, IsWhereTheShaftWillBe) {
  std::mt19937 random(7);
  std::uniform_real_distribution<double> speed(-150.0, 150.0), angle(0.0, two_pi);
  std::uniform_int_distribution<std::int64_t> lead(1, 2000);
  Drive drive(coasting());
  for (int k = 0; k < 500; ++k) {
    drive.start({.omega_m_rad_s = speed(random), .theta_m_rad = angle(random)});
    go(drive, 500 * us);
    const DriveState before = drive.state();
    const std::int64_t lead_ps = lead(random) * us;
    drive.turn_ahead(static_cast<double>(lead_ps) * 1e-12);
    const Snapshot told = drive.snapshot();
    const std::uint32_t told_levels = levels(drive);
    const double told_sin_V = drive.sense_V(SensorChannel::angle_sin);
    const double told_U_V = drive.sense_V(SensorChannel::phase_voltage_U);
    EXPECT_EQ(drive.state().time_ps, before.time_ps);
    drive.restore(before);

    go(drive, before.time_ps + lead_ps);
    const Snapshot then = drive.snapshot();
    ASSERT_NEAR(told.omega_m_rad_s, then.omega_m_rad_s, 1e-9) << k;
    ASSERT_NEAR(told.theta_m_rad, then.theta_m_rad, 1e-9) << k;
    ASSERT_EQ(told_levels, levels(drive)) << k << ", at " << then.theta_m_rad;
    ASSERT_NEAR(told_sin_V, drive.sense_V(SensorChannel::angle_sin), 1e-8) << k;
    ASSERT_NEAR(told_U_V, drive.sense_V(SensorChannel::phase_voltage_U), 1e-8) << k;
  }
}

TEST(TurnAhead, LeavesNothingBehindThatRestoreDoesNotTakeBack) {
  Drive looked(coasting()), plain(coasting());
  for (Drive* drive : {&looked, &plain}) {
    drive->start({.omega_m_rad_s = 90.0});
    drive->set_switch(Switch::UH, true);
    drive->set_switch(Switch::VL, true);
  }
  for (int k = 1; k <= 100; ++k) {
    const DriveState now = looked.state();
    looked.turn_ahead(400e-6);
    looked.restore(now);
    go(looked, k * 20 * us);
    go(plain, k * 20 * us);
  }
  EXPECT_EQ(looked.state().i_alpha_A, plain.state().i_alpha_A);
  EXPECT_EQ(looked.state().theta_e_rad, plain.state().theta_e_rad);
  EXPECT_EQ(looked.state().omega_m_rad_s, plain.state().omega_m_rad_s);
  EXPECT_EQ(looked.state().encoder_count, plain.state().encoder_count);
}

// Friction of 0.2 Nm on 1e-3 kg m^2 stops 0.1 rad/s within 0.5 ms, after 25e-6 rad; what it does
// then nobody foretells.
TEST(TurnAhead, DoesNotForetellThatARotorTurnsBack) {
  Drive drive(coasting());
  drive.start({.omega_m_rad_s = 0.1, .theta_m_rad = 1.0});
  drive.turn_ahead(2e-3);
  EXPECT_EQ(drive.snapshot().omega_m_rad_s, 0.0);
  EXPECT_NEAR(drive.snapshot().theta_m_rad, 1.0 + 25e-6, 1e-9);
}

// Currents are not foretold: they depend on gates that nobody has set yet.
TEST(TurnAhead, LeavesCurrentsAsTheyAre) {
  Drive drive(coasting());
  drive.start({.omega_m_rad_s = 90.0});
  drive.set_switch(Switch::UH, true);
  drive.set_switch(Switch::VL, true);
  go(drive, 100 * us);
  const Phases now = drive.snapshot().current_A;
  ASSERT_GT(std::abs(now.U), 1.0);
  drive.turn_ahead(1e-3);
  EXPECT_EQ(drive.snapshot().current_A.U, now.U);
  EXPECT_EQ(drive.snapshot().current_A.V, now.V);
}

// The filter's lag stays; the EMF that it lags behind is the one ahead.
TEST(TurnAhead, MovesAFilteredTerminalByWhatTheEmfGains) {
  DriveParameters d = coasting();
  d.phase_voltage.filter_s = 100e-6;
  Drive drive(d);
  drive.start({.omega_m_rad_s = 100.0});
  go(drive, 5000 * us);
  const DriveState now = drive.state();
  const auto shown = [&] { return drive.sense_V(SensorChannel::phase_voltage_V); };
  const auto emf = [&] { return drive.snapshot().terminal_V.V * d.phase_voltage.ratio; };
  const double shown_V = shown(), emf_V = emf();
  drive.turn_ahead(300e-6);
  EXPECT_NEAR(shown() - shown_V, emf() - emf_V, 1e-9);
  EXPECT_GT(std::abs(emf() - emf_V), 1e-3);
  drive.restore(now);
  EXPECT_EQ(shown(), shown_V);
}

}  // namespace
}  // namespace stillrotor::plant
