// What the scenario and the key do to the supply, at their own picosecond.
#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

Scenario resting(std::vector<Action> timeline, bool key) {
  Scenario scenario;
  scenario.lasts_ps = 20 * ms;
  scenario.start.key = key;
  scenario.timeline = std::move(timeline);
  return scenario;
}

float bus_V(const KeepingSink& sink, std::int64_t t_ps) {
  for (const Frame& frame : sink.frames)
    if (frame.at_ps == t_ps) return frame.value[static_cast<std::size_t>(Signal::bus_voltage)];
  return -1e9F;
}

// While the connector is apart the supply may do what it likes: the unloaded link stays at 48 V.
// When it closes again on 40 V, 1 mF behind 45 mohm follows within 45 us.
TEST(SupplyConnector, PartsAndClosesAtItsTime) {
  ScriptedController idle;
  KeepingSink sink;
  run(hub_bench(),
      resting({action(5 * ms, ActionKind::supply, 0.0),
               action(6 * ms, ActionKind::supply_voltage, 40.0),
               action(10 * ms, ActionKind::supply, 1.0)},
              true),
      idle, sink);
  EXPECT_NEAR(bus_V(sink, 9 * ms), 48.0F, 1e-4);
  EXPECT_NEAR(bus_V(sink, 10 * ms), 48.0F, 1e-4);
  EXPECT_NEAR(bus_V(sink, 12 * ms), 40.0F, 1e-4);
  ASSERT_NE(sink.find("supply off"), nullptr);
  EXPECT_EQ(sink.find("supply off")->at_ps, 5 * ms);
}

// The key closes the contactor after its pull-in time and opens it after its drop-out time; without
// a pre-charge resistor the link is empty until then.
TEST(Contactor, FollowsTheKey) {
  Bench bench = hub_bench();
  bench.drive.contactor = {.fitted = true, .pull_in_s = 5e-3, .drop_out_s = 1e-3};
  ScriptedController idle;
  KeepingSink sink;
  run(bench, resting({action(2 * ms, ActionKind::key, 1.0)}, false), idle, sink);
  EXPECT_EQ(bus_V(sink, 6 * ms), 0.0F);
  EXPECT_NEAR(bus_V(sink, 8 * ms), 48.0F, 1e-4);

  KeepingSink at_start;
  run(bench,
      resting(
          {action(8 * ms, ActionKind::key, 0.0), action(12 * ms, ActionKind::supply_voltage, 40)},
          true),
      idle, at_start);
  EXPECT_EQ(bus_V(at_start, 4 * ms), 0.0F);
  EXPECT_NEAR(bus_V(at_start, 8 * ms), 48.0F, 1e-4);
  EXPECT_NEAR(bus_V(at_start, 20 * ms), 48.0F, 1e-4);  // open again: the link keeps its charge
}

// The scenario's charge decides the open-circuit voltage: by hand, 50 % between 42 V and 52 V.
TEST(StateOfCharge, OfTheScenarioSetsTheVoltageAtTheStart) {
  Bench bench = hub_bench();
  bench.drive.supply.battery.open_circuit_V = {{0.0, 42.0}, {1.0, 52.0}};
  bench.drive.supply.battery.charge = 0.9;
  bench.drive.supply.voltage_V = 51.0;
  ScriptedController idle;
  KeepingSink as_it_is, half;
  Scenario scenario = resting({}, true);
  run(bench, scenario, idle, as_it_is);
  scenario.start.charge = 0.5;
  run(bench, scenario, idle, half);
  EXPECT_NEAR(bus_V(as_it_is, 10 * ms), 51.0F, 1e-4);
  EXPECT_NEAR(bus_V(half, 10 * ms), 47.0F, 1e-4);
}

// Looking ahead and taking it back leaves no trace in charge, branches, board and contactor.
TEST(SupplyState, DoesNotDependOnTheLookAhead) {
  Bench bench = hub_bench();
  bench.drive.supply.battery.open_circuit_V = {{0.0, 42.0}, {1.0, 52.0}};
  bench.drive.supply.battery.branch[0] = {10e-3, 20e-3};
  bench.drive.supply.voltage_V = 50.0;
  bench.drive.supply.protection.fitted = true;
  bench.drive.supply.protection.discharge = {5.0, 2e-3};
  bench.drive.supply.protection.retry_s = 10e-3;
  bench.drive.contactor = {
      .fitted = true, .pull_in_s = 5e-3, .drop_out_s = 1e-3, .pre_charge_ohm = 10.0};
  const Scenario scenario = drive_off(150 * ms, 2.8);
  KeepingSink a, b;
  run(bench, scenario, a, 100 * us);
  run(bench, scenario, b, 17 * us);
  ASSERT_EQ(a.frames.size(), b.frames.size());
  for (std::size_t k = 0; k < a.frames.size(); ++k)
    ASSERT_EQ(a.frames[k].value, b.frames[k].value) << k;
  ASSERT_EQ(a.edges.size(), b.edges.size());
}

}  // namespace
}  // namespace stillrotor::test
