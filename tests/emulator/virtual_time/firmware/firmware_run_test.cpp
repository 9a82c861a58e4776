// The scheduler with a real firmware binary, whose instructions take 62.5 ns and more.
#include <gtest/gtest.h>

#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

Bench firmware_bench() {
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub.yaml",
                    {"load.cart_mass=15 kg"}, STILLROTOR_BUILD_DIR);
}

// What the firmware sees late by an instruction, it sees late by the same instruction however far
// the scheduler looks ahead. The plant's steps do not depend on that, so no edge moves at all: the
// least difference would turn a converter's last bit now and then, and an edge by cycles of 62.5
// ns.
TEST(FirmwareRun, DoesNotDependOnTheLookAhead) {
  const Bench bench = firmware_bench();
  KeepingSink usual, halved, odd, brief;
  const Scenario scenario = drive_off(600 * ms, 2.4);
  const RunOutcome outcome = run(bench, scenario, usual, 100 * us);
  run(bench, scenario, halved, 50 * us);
  run(bench, scenario, odd, 37 * us + 1);
  run(bench, scenario, brief, 4 * us);
  ASSERT_GT(usual.edges_of(io::line::gate_UH).size(), 500U);
  ASSERT_GT(usual.edges_of(io::line::hall_U).size(), 10U);
  EXPECT_EQ(outcome.late_gate_edges, 0U);
  for (const KeepingSink* other : {&halved, &odd, &brief}) {
    ASSERT_EQ(usual.edges.size(), other->edges.size());
    for (std::uint16_t k = 0; k < io::line_count; ++k) {
      const auto a = usual.edges_of(io::LineId{k}), b = other->edges_of(io::LineId{k});
      ASSERT_EQ(a.size(), b.size()) << k;
      for (std::size_t n = 0; n < a.size(); ++n) {
        ASSERT_EQ(a[n].level, b[n].level) << k << ' ' << n;
        ASSERT_EQ(a[n].at_ps, b[n].at_ps) << k << ' ' << n;
      }
    }
  }
}

// Half open is 1.5 ms, a quarter 1.25 ms; a tick of the firmware's timer is 0.5 us; tolerance as in
// tests/io/mcu/pulse_test.cpp.
TEST(FirmwareRun, MeasuresTheCommandPulseThatTheScenariosThrottleMoves) {
  const Bench bench =
      load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub.yaml",
                 {"controller.firmware=" STILLROTOR_BUILD_DIR "/firmware/test_pulse_width_int0.elf",
                  "harness.gates.UL=PB1", "harness.lines.command_pulse.pin=PD2",
                  "controls.command_pulse.fitted=on", "controls.command_pulse.period=5 ms"},
                 STILLROTOR_BUILD_DIR);
  const auto throttle = [&](double position) {
    return bench.controls.throttle_idle_V +
           position * (bench.controls.throttle_full_V - bench.controls.throttle_idle_V);
  };
  Scenario scenario = drive_off(23 * ms, throttle(0.5));
  scenario.timeline = {action(7 * ms, ActionKind::throttle, throttle(0.5)),
                       action(12 * ms, ActionKind::throttle, throttle(0.25))};
  KeepingSink sink;
  run(bench, scenario, sink);
  std::vector<double> ticks;
  for (const KeptMark& mark : sink.marks)
    if (mark.kind == MarkKind::text) ticks.push_back(std::stod(mark.detail));
  ASSERT_EQ(ticks.size(), 4U);  // at 5, 10, 15 and 20 ms
  EXPECT_NEAR(ticks[0], 2000, 1.25);
  EXPECT_NEAR(ticks[1], 3000, 1.25);
  EXPECT_NEAR(ticks[2], 2500, 1.25);
  EXPECT_NEAR(ticks[3], 2500, 1.25);
}

}  // namespace
}  // namespace stillrotor::test
