// What the machine suffers in a run, as events and in the run's outcome.
#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

/// The hub's rotor stands at 150 electrical degrees while direct current flows from U to V. By
/// hand: its vector points to -30 degrees, so all of it is negative i_d: 2 / sqrt 3 of the phase
/// current, which is at most 48 V / (2 * 80 mohm + 40 mohm) = 240 A.
Bench against_the_magnets() {
  Bench bench = hub_bench();
  bench.drive.shaft.inertia_kg_m2 = 1e9;
  bench.drive.machine.back_emf = {{1, 1.0}};
  return bench;
}

RunOutcome run_against_the_magnets(const Bench& bench, KeepingSink& sink) {
  Scenario scenario;
  scenario.lasts_ps = 30 * ms;
  scenario.start.key = true;
  scenario.start.angle_rad = 150.0 / 15.0 * 3.14159265358979 / 180.0;
  ScriptedController controller;
  controller.drive(ms, io::line::gate_UH, io::Level::high);
  controller.drive(ms, io::line::gate_VL, io::Level::high);
  return run(bench, scenario, controller, sink);
}

std::vector<KeptMark> events(const KeepingSink& sink, std::string_view name) {
  std::vector<KeptMark> found;
  for (const KeptMark& mark : sink.marks)
    if (mark.name == name) found.push_back(mark);
  return found;
}

// Below a knee of -60 A the flux falls to nothing within 1000 A more: i_d of -255 to -277 A leave
// 0.78 to 0.81 of it. That is told at the first loss and at three or four twentieths more.
TEST(MachineEvents, TellHowMuchFluxTheMagnetsLose) {
  Bench bench = against_the_magnets();
  bench.drive.machine.demagnetisation = {
      .possible = true, .knee_A = -60.0, .lose_all_within_A = 1000.0};
  KeepingSink sink;
  const RunOutcome outcome = run_against_the_magnets(bench, sink);
  EXPECT_GT(outcome.magnet_left, 0.78);
  EXPECT_LT(outcome.magnet_left, 0.81);
  const auto told = events(sink, "magnets lose flux");
  ASSERT_GE(told.size(), 4U);
  ASSERT_LE(told.size(), 5U);
  double before = 100.0;
  for (const KeptMark& mark : told) {
    EXPECT_EQ(mark.kind, MarkKind::event);
    EXPECT_TRUE(mark.detail.ends_with(" % left")) << mark.detail;
    const double left = std::stod(mark.detail);
    EXPECT_LT(left, before);
    before = left - 4.8;  // a twentieth, less the rounding of the text
  }
}

TEST(MachineEvents, AreNotThereWhereTheKneeIsNotReached) {
  Bench bench = against_the_magnets();
  bench.drive.machine.demagnetisation = {
      .possible = true, .knee_A = -300.0, .lose_all_within_A = 1000.0};
  KeepingSink sink;
  EXPECT_EQ(run_against_the_magnets(bench, sink).magnet_left, 1.0);
  EXPECT_TRUE(events(sink, "magnets lose flux").empty());
}

// A map of constant inductances, to 100 A and to 400 A.
TEST(MachineEvents, TellOnceThatTheCurrentsLeftTheFluxMap) {
  for (const double reach_A : {100.0, 400.0}) {
    Bench bench = against_the_magnets();
    auto& map = bench.drive.machine.flux_map;
    for (int k = -2; k <= 2; ++k) map.i_d_A.push_back(0.5 * k * reach_A);
    map.i_q_A = map.i_d_A;
    for (const double d : map.i_d_A)
      for (const double q : map.i_q_A) {
        map.psi_d_Wb.push_back(220e-6 * d + 32e-3);
        map.psi_q_Wb.push_back(220e-6 * q);
      }
    KeepingSink sink;
    const RunOutcome outcome = run_against_the_magnets(bench, sink);
    const bool outside = reach_A < 200.0;
    EXPECT_EQ(events(sink, "currents outside the flux map").size(), outside ? 1U : 0U);
    EXPECT_EQ(outcome.plant.outside_map_s > 0.0, outside);
  }
}

}  // namespace
}  // namespace stillrotor::test
