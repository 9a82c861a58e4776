#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "io/capture/capture.hpp"
#include "recording.hpp"

namespace stillrotor::io::test {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::StartsWith;

// 1 us ticks. UH on at 10, VL on at 10, UH off at 30, VL off at 40, the recording ends at 50.
const std::string two_pulses = header("1 us") +
                               "#0 $dumpvars 0A 0B 0C 0D 0E 0F 1G 0H 0I $end\n#10 1D\n1A\n#30 0A\n"
                               "#40 0D\n#50\n";

void expect_edge(const Edge& edge, Time at, LineId line, Level level) {
  EXPECT_EQ(edge.at, at);
  EXPECT_EQ(edge.line, line) << name(edge.line);
  EXPECT_EQ(edge.level, level);
}

TEST(CaptureReplay, DrivesTheRecordedEdgesAtTheirTimes) {
  const Recording recording(two_pulses);
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(45));
  ASSERT_EQ(bench.driven.size(), 10u);
  for (std::uint16_t k = 0; k < 6; ++k) expect_edge(bench.driven[k], us(0), LineId{k}, Level::low);
  expect_edge(bench.driven[6], us(10), line::gate_UH, Level::high);  // ties by LineId
  expect_edge(bench.driven[7], us(10), line::gate_VL, Level::high);
  expect_edge(bench.driven[8], us(30), line::gate_UH, Level::low);
  expect_edge(bench.driven[9], us(40), line::gate_VL, Level::low);
  EXPECT_EQ(replay.health(), Health::running);
}

TEST(CaptureReplay, ExitsAtTheLastTimeStampWithGatesReleased) {
  const Recording recording(two_pulses);
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(49));
  bench.driven.clear();
  EXPECT_EQ(replay.run(us(100)), us(50));
  run_until(replay, us(100));
  ASSERT_EQ(bench.driven.size(), 6u);
  for (const Edge& edge : bench.driven) {
    EXPECT_EQ(edge.at, us(50));
    EXPECT_EQ(edge.level, Level::released);
  }
  EXPECT_EQ(replay.health(), Health::exited);
  EXPECT_FALSE(replay.diagnosis().empty());
  EXPECT_EQ(replay.run(us(200)), us(200));
}

// One drive() a call, never past the horizon, and the time of the drive is returned.
TEST(CaptureReplay, StopsAtItsFirstEdgeAndAtTheHorizon) {
  const Recording recording(two_pulses);
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(5));
  bench.driven.clear();
  EXPECT_EQ(replay.run(us(9)), us(9));
  EXPECT_TRUE(bench.driven.empty());
  EXPECT_EQ(replay.run(us(20)), us(10));
  EXPECT_EQ(bench.driven.size(), 1u);
  EXPECT_EQ(replay.run(us(20)), us(10));
  EXPECT_EQ(bench.driven.size(), 2u);
  EXPECT_EQ(replay.run(us(20)), us(20));
  EXPECT_EQ(bench.driven.size(), 2u);
}

// Start 20 us: UH and VL are already on at replay time 0; what follows comes 20 us earlier.
TEST(CaptureReplay, BeginsWhereItIsTold) {
  const Recording recording(two_pulses);
  auto config = config_for(recording.path());
  config.start_s = 20e-6;
  CaptureReplay replay(config);
  EXPECT_DOUBLE_EQ(replay.survey().length_s, 30e-6);
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(25));
  ASSERT_EQ(bench.driven.size(), 8u);
  expect_edge(bench.driven[0], us(0), line::gate_UH, Level::high);
  expect_edge(bench.driven[3], us(0), line::gate_VL, Level::high);
  expect_edge(bench.driven[6], us(10), line::gate_UH, Level::low);
  expect_edge(bench.driven[7], us(20), line::gate_VL, Level::low);
}

// A recorder that counts from its own power-up begins at a large tick: time 0 is the first stamp.
TEST(CaptureReplay, CountsFromTheFirstTimeStamp) {
  const Recording recording(header("1 us") + "#7000000 0A\n#7000003 1A\n#7000004\n");
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(3));
  ASSERT_EQ(bench.driven.size(), 2u);
  expect_edge(bench.driven[1], us(3), line::gate_UH, Level::high);
}

TEST(CaptureReplay, ReleasesGatesWithoutPowerAndTakesThemUpWhereTheRecordingStands) {
  const Recording recording(two_pulses);
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(15));
  bench.driven.clear();
  replay.power(0.0, us(15), bench);
  EXPECT_EQ(bench.driven.size(), 6u);
  for (const Edge& edge : bench.driven) expect_edge(edge, us(15), edge.line, Level::released);
  bench.driven.clear();
  run_until(replay, us(35));
  EXPECT_TRUE(bench.driven.empty());
  replay.power(5.0, us(35), bench);
  run_until(replay, us(36));
  ASSERT_EQ(bench.driven.size(), 6u);
  expect_edge(bench.driven[0], us(35), line::gate_UH, Level::low);
  expect_edge(bench.driven[3], us(35), line::gate_VL, Level::high);
}

// A key that is turned late: nothing is called before, and what has passed is not made up for.
TEST(CaptureReplay, SkipsWhatPassedBeforeItsFirstPower) {
  const Recording recording(two_pulses);
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, us(35), bench);
  run_until(replay, us(36));
  ASSERT_EQ(bench.driven.size(), 6u);
  expect_edge(bench.driven[0], us(35), line::gate_UH, Level::low);
  expect_edge(bench.driven[3], us(35), line::gate_VL, Level::high);
}

TEST(CaptureReplay, KeepsTheLevelAtXAndReleasesAtZ) {
  const Recording recording(header("1 us") + "#0 1A 0B\n#10 xA xB\n#20 zA\n#30 0A\n#40\n");
  CaptureReplay replay(config_for(recording.path()));
  EXPECT_EQ(replay.survey().unknown_values, 2u);
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(35));
  ASSERT_EQ(bench.driven.size(), 4u);
  expect_edge(bench.driven[2], us(20), line::gate_UH, Level::released);
  expect_edge(bench.driven[3], us(30), line::gate_UH, Level::low);
}

// A glitch inside one tick has no length that the recording could tell.
TEST(CaptureReplay, TakesTheLastValueOfATick) {
  const Recording recording(header("1 us") + "#0 0A\n#10 1A 0A\n#20 1A 0A 1A\n#30\n");
  CaptureReplay replay(config_for(recording.path()));
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(25));
  ASSERT_EQ(bench.driven.size(), 2u);
  expect_edge(bench.driven[1], us(20), line::gate_UH, Level::high);
}

// 100 rising edges 125 us apart: 8 kHz.
TEST(CaptureReplay, SurveysResolutionLengthEdgesAndPwmFrequency) {
  std::string text = header("100 ns");
  for (int k = 0; k < 100; ++k)
    text += "#" + std::to_string(1250 * k) + " 1A\n#" + std::to_string(1250 * k + 400) + " 0A\n";
  const Recording recording(text);
  const CaptureReplay replay(config_for(recording.path()));
  EXPECT_DOUBLE_EQ(replay.survey().resolution_s, 100e-9);
  EXPECT_NEAR(replay.survey().length_s, (99 * 1250 + 400) * 100e-9, 1e-15);
  EXPECT_EQ(replay.survey().edges[index(line::gate_UH)], 199u);  // the level at 0 is no edge
  EXPECT_EQ(replay.survey().edges[index(line::gate_UL)], 0u);
  EXPECT_NEAR(replay.survey().pwm_frequency_Hz, 8000.0, 1e-9);
}

TEST(CaptureReplay, CrashesInWordsWhenTheFileChangesUnderIt) {
  std::string text = header("1 us") + "#0 0A\n";
  for (int k = 1; k <= 40'000; ++k) text += "#" + std::to_string(k) + (k % 2 ? " 1A\n" : " 0A\n");
  const Recording recording(text);
  CaptureReplay replay(config_for(recording.path()));
  recording.rewrite(text.substr(0, 100'000) + "\nnonsense");
  Bench bench;
  replay.power(5.0, Time{}, bench);
  run_until(replay, us(40'000));
  EXPECT_EQ(replay.health(), Health::crashed);
  EXPECT_THAT(std::string(replay.diagnosis()), HasSubstr("changed while it was replayed"));
  EXPECT_EQ(bench.driven.back().level, Level::released);
}

TEST(CaptureReplay, FindsSignalsByNameAndByScope) {
  const Recording recording(two_pulses);
  auto config = config_for(recording.path());
  config.signals[0] = "board.gate_uh";
  EXPECT_EQ(refusal(config), "");
}

TEST(CaptureReplay, RefusesAMissingSignalAndNamesTheNearest) {
  const Recording recording(two_pulses);
  auto config = config_for(recording.path());
  config.signals[index(line::gate_VL)] = "gate_v_l";
  EXPECT_THAT(refusal(config),
              AllOf(StartsWith("controller.signals.gates.VL | "), HasSubstr("no signal 'gate_v_l'"),
                    HasSubstr("Nearest: board.gate_vl."), HasSubstr("board.hall_w.")));
}

TEST(CaptureReplay, RefusesAGateWithoutASignal) {
  const Recording recording(two_pulses);
  auto config = config_for(recording.path());
  config.signals[index(line::gate_WL)].clear();
  EXPECT_THAT(refusal(config),
              AllOf(HasSubstr("controller.signals.gates.WL"), HasSubstr("all six gates")));
}

TEST(CaptureReplay, RefusesANameThatTwoSignalsBear) {
  const Recording recording(
      "$timescale 1 us $end\n$scope module a $end\n$var wire 1 A gate_uh $end\n$upscope $end\n"
      "$scope module b $end\n$var wire 1 B gate_uh $end\n$upscope $end\n$enddefinitions "
      "$end\n#1\n");
  EXPECT_THAT(refusal(config_for(recording.path())), HasSubstr("a.gate_uh or b.gate_uh"));
}

TEST(CaptureReplay, RefusesABusAndARealNumber) {
  const Recording bus("$timescale 1 us $end $var wire 8 A gate_uh $end $enddefinitions $end #1\n");
  EXPECT_THAT(refusal(config_for(bus.path())), HasSubstr("8 bits wide"));
  const Recording real("$timescale 1 us $end $var real 1 A gate_uh $end $enddefinitions $end #1\n");
  EXPECT_THAT(refusal(config_for(real.path())), HasSubstr("no logic signal"));
}

TEST(CaptureReplay, RefusesAStartOutsideTheRecording) {
  const Recording recording(two_pulses);
  auto config = config_for(recording.path());
  for (const double start_s : {-1.0, 1e30, std::numeric_limits<double>::quiet_NaN()}) {
    config.start_s = start_s;
    EXPECT_THAT(refusal(config), StartsWith("controller.start | ")) << start_s;
  }
  config.start_s = 1.0;
  EXPECT_THAT(refusal(config), HasSubstr("start is 1 s; the recording lasts 5e-05 s"));
}

// What stands in the middle of the file is found at set-up, not half-way through a run.
TEST(CaptureReplay, RefusesAtSetUpWhatIsBadAnywhereInTheFile) {
  const Recording recording(two_pulses + "#60 1A\n#55 0A\n");
  EXPECT_THAT(refusal(config_for(recording.path())), HasSubstr("earlier than the one before it"));
}

}  // namespace
}  // namespace stillrotor::io::test
