// Faults of the physics: what each catalogue entry does to the plant, that its end mends it, and
// that a bench without the part refuses it. What follows physically: tests/plant/faults.
#include <gtest/gtest.h>

#include <algorithm>
#include <functional>

#include "emulator/faults/fault_site.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

class PlainSite final : public FaultSite {
 public:
  explicit PlainSite(const Bench& bench) : bench_(bench), plant_(bench.drive) { plant_.start(); }
  std::int64_t now_ps() const noexcept override { return plant_.state().time_ps; }
  const Bench& bench() const noexcept override { return bench_; }
  plant::Drive& plant() noexcept override { return plant_; }
  LineFault line(io::LineId) const noexcept override { return {}; }
  void set_line(io::LineId, const LineFault&) noexcept override {}
  ChannelFault channel(io::ChannelId) const noexcept override { return {}; }
  void set_channel(io::ChannelId, const ChannelFault&) noexcept override {}
  double pin_V(io::ChannelId) const noexcept override { return 0.0; }
  bool key_on() const noexcept override { return true; }
  void set_key_contact(bool) noexcept override {}
  void set_controller_supply_V(double) noexcept override {}
  double share(io::LineId, std::int64_t) const noexcept override { return 1.0; }

 private:
  const Bench& bench_;
  plant::Drive plant_;
};

Bench all_parts() {
  Bench bench = mid_bench();
  plant::DriveParameters& d = bench.drive;
  d.gate_driver.bootstrap.capacitance_F = 1e-6;
  d.contactor = {.fitted = true, .pre_charge_ohm = 10.0, .closed_at_start = true};
  d.shaft.cart_mass_kg = 100.0;
  return bench;
}

struct Case {
  const Fault* fault;
  FaultSettings settings;
  std::function<double(const plant::DriveState&)> shows;
  double whole, broken;
  std::function<void(plant::DriveParameters&)> fit = {};
};

// By hand from each law; a body's temperature is in degrees Celsius in the plant's state.
TEST(PowerFaults, ReachThePlantAndEnd) {
  using S = const plant::DriveState&;
  const auto slips = [](plant::DriveParameters& d) {
    d.shaft.coupling = plant::Coupling::slipping;
  };
  const auto wheel = [](plant::DriveParameters& d) {
    d.shaft.coupling = plant::Coupling::freewheel;
  };
  const auto state = [](S s) { return static_cast<double>(s.shaft_faults.freewheel); };
  const auto apart = [](S s) { return s.supply_mode == plant::SupplyMode::open ? 1.0 : 0.0; };
  const Case cases[] = {
      {&switch_open, {{2}}, [](S s) { return double(s.switches.open); }, 0, 4},
      {&switch_short, {{5}}, [](S s) { return double(s.gates); }, 0, 32},
      {&shoot_through, {{1, 2e-6}}, [](S s) { return double(s.gates); }, 0, 12},
      {&bootstrap_lost, {{2}}, [](S s) { return double(s.driver.diode_open); }, 0, 4},
      {&gate_skew, {{3, 0, 2e-7}}, [](S s) { return s.driver.later_on_s[3]; }, 0, 2e-7},
      {&gate_skew, {{3, 0, 2e-7}}, [](S s) { return s.driver.later_off_s[3]; }, 0, 0},
      {&gate_skew, {{3, 1, 2e-7}}, [](S s) { return s.driver.later_off_s[3]; }, 0, 2e-7},
      {&gate_skew, {{3, 2, 2e-7}}, [](S s) { return s.driver.later_on_s[3]; }, 0, 2e-7},
      {&phase_open, {{1}}, [](S s) { return double(s.open_phases); }, 0, 2},
      {&phase_phase_short, {{2, 0.01, 1e-6}}, [](S s) { return s.machine.shorts[1].ohm; }, 0, 0.01},
      {&phase_ground_short,
       {{2, 0.02}},
       [](S s) { return s.grounded < 0 ? 0 : s.ground_ohm; },
       0,
       0.02},
      {&turn_short, {{1, 0.05, 2e-3}}, [](S s) { return s.machine.shorts[0].turns; }, 0, 0.05},
      {&demagnetised, {{0.2}}, [](S s) { return s.machine.flux_linkage_Wb; }, 0.03, 0.024},
      {&over_temperature, {{1, 393.15}}, [](S s) { return s.temperature_C[1]; }, 25, 120},
      {&supply_weak, {{0.1}}, [](S s) { return s.source_ohm; }, 0.03, 0.13},
      {&supply_sag, {{0.7}}, [](S s) { return s.supply.share; }, 1, 0.7},
      {&supply_ripple, {{2.0, 300.0}}, [](S s) { return s.supply.ripple_V; }, 0, 2},
      {&supply_interrupted, {{2e-3, 0.01, 3}}, apart, 0, 1},
      {&supply_interrupted,
       {{2e-3, 0.01, 3}},
       [](S s) { return double(s.supply.bounces_left); },
       0,
       2},
      {&supply_disconnected, {}, apart, 0, 1},
      {&contactor_opens, {}, [](S s) { return s.source_ohm; }, 0.03, 10.03},
      {&pre_charge_open, {}, [](S s) { return s.supply.pre_charge_failed ? 1.0 : 0.0; }, 0, 1},
      {&bearing_seized, {{5.0}}, [](S s) { return s.shaft_faults.bearing_Nm; }, 0, 5},
      {&rotor_locked, {}, [](S s) { return s.speed_held ? 1.0 : 0.0; }, 0, 1},
      {&freewheel_failed, {{0}}, state, 0, 1, wheel},
      {&freewheel_failed, {{1}}, state, 0, 2, wheel},
      {&wheel_slip, {{0.1}}, [](S s) { return s.shaft_faults.grip_share; }, 1, 0.1, slips},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(c.fault->name);
    Bench bench = all_parts();
    if (c.fit) c.fit(bench.drive);
    EXPECT_TRUE(is_possible(*c.fault, bench));
    PlainSite site(bench);
    EXPECT_NEAR(c.shows(site.plant().state()), c.whole, 1e-12);
    c.fault->begin(site, c.settings);
    EXPECT_NEAR(c.shows(site.plant().state()), c.broken, 1e-12);
    site.plant().advance(1 * us);
    if (c.fault->end == nullptr) continue;
    c.fault->end(site, c.settings);
    EXPECT_NEAR(c.shows(site.plant().state()), c.whole, 1e-12);
  }
}

// A drive under way into which one fault after the other is put. How far the scheduler looks ahead
// changes nothing, to the byte; the sag, the openings and the trip stand in the record.
TEST(PowerFaults, RunTheSameHoweverFarTheSchedulerLooksAhead) {
  Bench bench = mid_bench();
  bench.drive.gate_driver.trip_A = 400.0;
  bench.drive.gate_driver.retry_after_s = 1e-3;
  Scenario scenario = drive_off(56 * ms, 2.0);
  scenario.start.speed_rad_s = 100.0;
  const auto at = [&](std::int64_t when_ps, const Fault& which, const FaultSettings& settings,
                      bool cleared = false) {
    Action a = fault_action(which, settings, cleared);
    a.at_ps = when_ps;
    scenario.timeline.push_back(a);
  };
  at(22 * ms, gate_skew, {{0, 1, 0.3e-6}});
  at(25 * ms, turn_short, {{0, 0.05, 0.05}});
  at(28 * ms, phase_phase_short, {{1, 0.5, 5e-6}});
  at(31 * ms, phase_phase_short, {}, true);
  at(32 * ms, turn_short, {}, true);
  at(34 * ms, shoot_through, {{2, 5e-6}});
  at(38 * ms, supply_interrupted, {{0.5e-3, 1e-3, 3}});
  at(44 * ms, supply_sag, {{0.5}});
  at(46 * ms, supply_sag, {}, true);
  at(48 * ms, supply_ripple, {{5.0, 1000.0}});
  at(50 * ms, switch_open, {{1}});
  at(52 * ms, bearing_seized, {{3.0}});
  KeepingSink far, near;
  run(bench, scenario, far, 100 * us);
  run(bench, scenario, near, 7 * us);
  ASSERT_EQ(far.edges.size(), near.edges.size());
  EXPECT_GT(far.edges.size(), 1000u);
  for (std::size_t k = 0; k < far.edges.size(); ++k) {
    ASSERT_EQ(far.edges[k].at_ps, near.edges[k].at_ps) << k;
    ASSERT_EQ(far.edges[k].line, near.edges[k].line) << k;
  }
  ASSERT_EQ(far.frames.size(), near.frames.size());
  double lowest_V = 1e9;
  for (std::size_t k = 0; k < far.frames.size(); ++k) {
    EXPECT_TRUE(far.frames[k].value == near.frames[k].value) << k;
    if (far.frames[k].at_ps > 45 * ms && far.frames[k].at_ps < 46 * ms)
      lowest_V = std::min<double>(
          lowest_V, far.frames[k].value[static_cast<std::size_t>(Signal::bus_voltage)]);
  }
  EXPECT_LT(lowest_V, 37.0);
  ASSERT_NE(far.find("driver fault"), nullptr);
  EXPECT_GE(far.find("driver fault")->at_ps, 34 * ms);
  EXPECT_LE(far.find("driver fault")->at_ps, 34 * ms + 2 * us);
}

}  // namespace
}  // namespace stillrotor::test
