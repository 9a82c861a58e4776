// What shunts show under sine PWM: each leg's current only while its low side conducts; in the DC
// link one phase at a time, by the switches that are on.
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "tests/reference/support/edges.hpp"

namespace stillrotor::reference {
namespace {

using plant::Leg;
using plant::SensorChannel;

constexpr double gain = 0.02, offset = 2.5;

/// Amplifiers that settle within 16 ns, so that a reading 0.5 us after an edge is the current.
plant::DriveParameters with_shunts() {
  plant::DriveParameters p = stiff_drive();
  p.phase_current.kind = plant::CurrentSensing::low_side_shunt;
  p.phase_current.polarity = -1.0;
  p.phase_current.bandwidth_Hz = 10e6;
  p.phase_current.low_limit_V = p.dc_link_current.low_limit_V = -100.0;  // nothing saturates
  p.phase_current.high_limit_V = p.dc_link_current.high_limit_V = 100.0;
  p.dc_link_current.kind = plant::CurrentSensing::dc_link;
  p.dc_link_current.bandwidth_Hz = 10e6;
  return p;
}

NaturalPwm sine_pwm(double dead_time_s) {
  return {[](double t) {
            std::array<double, 3> r{};
            for (std::size_t k = 0; k < 3; ++k)
              r[k] = 0.8 * std::cos(plant::two_pi * (100.0 * t - static_cast<double>(k) / 3.0));
            return r;
          },
          20e3, dead_time_s};
}

struct Windows {
  std::array<int, 3> open{}, closed{};  // readings by leg
  std::array<int, 4> link{};            // one phase, minus one phase, nothing; other
};

/// Reads every 1.7 us, not nearer than 0.5 us behind an edge; by hand from the gates and the
/// currents. Tolerance of a reading: 0.5 us are 31 time constants; behind a current that changes by
/// up to 0.3 A/us (48 V / 150 uH) the lag is 0.3 A/us * 16 ns = 5 mA, 0.1 mV.
Windows watch(double dead_time_s) {
  plant::Drive drive(with_shunts());
  hold_electrical(drive, 300.0);
  const auto edges = natural_pwm_edges(sine_pwm(dead_time_s), 200);
  Windows seen;
  std::size_t next = 0;
  for (std::int64_t t = 1'000'000; t < ps(9.9e-3); t += 1'700'000) {
    next = replay(drive, edges, next, t);
    if (next > 0 && t - edges[next - 1].at_ps < 500'000) continue;
    const plant::Snapshot now = drive.snapshot();
    const double i[3] = {now.current_A.U, now.current_A.V, now.current_A.W};
    double link = 0.0;
    int highs = 0;
    bool dead = false;
    for (std::size_t k = 0; k < 3; ++k) {
      const unsigned gates = (drive.state().gates >> (2 * k)) & 3U;
      dead = dead || gates == 0;
      // In the dead time the diode of the current's sign conducts: the low one for a positive one.
      const bool low_side = gates == 2U || (gates == 0U && i[k] > 0.0);
      const double volts = drive.phase_current_sense_V(static_cast<Leg>(k));
      EXPECT_NEAR(volts, low_side ? offset + gain * i[k] : offset, 1e-4) << t << " leg " << k;
      ++(low_side ? seen.open : seen.closed)[k];
      if (!low_side) link += i[k], ++highs;
    }
    EXPECT_NEAR(drive.sense_V(SensorChannel::dc_link_current), offset + gain * link, 1e-4) << t;
    if (!dead) ++seen.link[highs == 1 ? 0 : highs == 2 ? 1 : 2];
  }
  return seen;
}

// The share of time in which a leg's low side conducts is 1 - duty; over whole turns of the
// reference the mean duty is one half. Reads spread evenly: 5,800 of them, less those beside edges.
TEST(LowSideShunts, ShowTheCurrentOnlyWhileTheirLowSideConducts) {
  const Windows seen = watch(0.0);
  for (std::size_t k = 0; k < 3; ++k) {
    const double all = seen.open[k] + seen.closed[k];
    EXPECT_GT(all, 4500);
    EXPECT_NEAR(seen.open[k] / all, 0.5, 0.03);
  }
}

TEST(LowSideShunts, SeeTheDiodesOfTheDeadTimeToo) {
  const Windows seen = watch(2e-6);
  for (std::size_t k = 0; k < 3; ++k) EXPECT_GT(seen.open[k], 1000);
}

// Textbook of the single shunt: one high switch shows its phase, two show the third phase negative,
// none or all show nothing. With sine-triangle at depth 0.8 all of them occur.
TEST(DcLinkShunt, ShowsOnePhaseAtATimeAndNothingInTheZeroVectors) {
  const Windows seen = watch(0.0);
  for (std::size_t k = 0; k < 3; ++k) EXPECT_GT(seen.link[k], 500) << k;
}

// First-order settling after a switch turns the current into the shunt: 1 - exp(-t / tau), tau =
// 1 / (2 pi 100 kHz) = 1.592 us. By hand: 20 A in a machine of 1 H, which lets nothing change.
TEST(LowSideShunts, SettleWithTheBandwidthOfTheirAmplifier) {
  plant::DriveParameters p = with_shunts();
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1.0;
  p.phase_current.bandwidth_Hz = 100e3;
  plant::Drive drive(p);
  place(drive, 0.0, {20.0, 0.0});
  only_on(drive, {plant::Switch::UH, plant::Switch::VL, plant::Switch::WL});
  advance_by(drive, 100e-6);
  EXPECT_NEAR(drive.phase_current_sense_V(Leg::U), offset, 1e-9);
  only_on(drive, {plant::Switch::UL, plant::Switch::VL, plant::Switch::WL});
  for (const double t : {0.5e-6, 1e-6, 1e-6, 3e-6}) {
    static double passed = 0.0;
    passed += t;
    advance_by(drive, t);
    const double settled = -std::expm1(-passed * plant::two_pi * 100e3);
    EXPECT_NEAR(drive.phase_current_sense_V(Leg::U), offset + gain * 20.0 * settled, 1e-4);
  }
}

// U at the bus, V and W at the rail, no current yet: a third of the bus. Then all at the bus.
TEST(StarPoint, IsTheMeanOfTheTerminalsDivided) {
  plant::DriveParameters p;
  p.supply.voltage_V = 48.0;
  p.phase_voltage = {.fitted = true, .ratio = 0.05};
  plant::Drive drive(p);
  drive.set_switch(plant::Switch::UH, true);
  drive.set_switch(plant::Switch::VL, true);
  drive.set_switch(plant::Switch::WL, true);
  EXPECT_NEAR(drive.sense_V(SensorChannel::star_point), 48.0 / 3.0 * 0.05, 1e-9);
  for (const auto low : {plant::Switch::VL, plant::Switch::WL}) drive.set_switch(low, false);
  for (const auto high : {plant::Switch::VH, plant::Switch::WH}) drive.set_switch(high, true);
  EXPECT_NEAR(drive.sense_V(SensorChannel::star_point), 48.0 * 0.05, 1e-9);
}

// First-order RC filter of 1 ms on the bus: 36 V from 48 V in one step, read at tau and at 3 tau.
// The link is stiff: its 1e9 F do not move.
TEST(FilteredVoltages, FollowWithTheirTimeConstant) {
  plant::DriveParameters p;
  p.dc_link.capacitance_F = 1e-6;  // follows the supply at once: 1 us
  p.supply.resistance_ohm = 1.0;
  p.bus_voltage = {.fitted = true, .ratio = 0.05, .filter_s = 1e-3};
  p.phase_voltage = {.fitted = true, .ratio = 0.05, .filter_s = 1e-3};
  plant::Drive drive(p);
  drive.set_switch(plant::Switch::UH, true);
  drive.set_switch(plant::Switch::VH, true);
  drive.set_switch(plant::Switch::WH, true);
  advance_by(drive, 20e-3);
  EXPECT_NEAR(drive.sense_V(SensorChannel::bus_voltage), 2.4, 1e-8);
  EXPECT_NEAR(drive.sense_V(SensorChannel::phase_voltage_V), 2.4, 1e-8);
  EXPECT_NEAR(drive.sense_V(SensorChannel::star_point), 2.4, 1e-8);
  drive.set_supply_V({36.0, 0.0});
  advance_by(drive, 1e-3);
  // The link's own 1 us comes before the filter: 0.1 % of the step at most.
  EXPECT_NEAR(drive.sense_V(SensorChannel::bus_voltage), 1.8 + 0.6 * std::exp(-1.0), 0.0006);
  EXPECT_NEAR(drive.sense_V(SensorChannel::phase_voltage_V), 1.8 + 0.6 * std::exp(-1.0), 0.0006);
  advance_by(drive, 2e-3);
  EXPECT_NEAR(drive.sense_V(SensorChannel::bus_voltage), 1.8 + 0.6 * std::exp(-3.0), 0.0006);
}

}  // namespace
}  // namespace stillrotor::reference
