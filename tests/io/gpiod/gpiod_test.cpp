// The backend on a board of the test's own; the real kernel's turn is tests/kernel.
#include "io/gpiod/gpiod.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <cerrno>
#include <chrono>
#include <thread>

#include "io/capture_thread.hpp"
#include "tests/io/gpiod/fake_library.hpp"

namespace stillrotor::io {
namespace {

using testing::HasSubstr;

constexpr std::uint32_t bit(LineId line) { return 1U << index(line); }

GpiodLine named(const std::string& name) {
  GpiodLine line;
  line.name = name;
  return line;
}

/// UH on line 0, UL on 1; Hall U on 6 (push-pull, may be let go), V on 7 (open drain), key on 8.
GpiodConfig small_bench() {
  GpiodConfig config;
  const auto wire = [&config](LineId id, int offset) -> GpiodLine& {
    GpiodLine& line = config.lines[index(id)];
    line.chip = "gpiochip0";
    line.offset = offset;
    return line;
  };
  wire(line::gate_UH, 0);
  wire(line::gate_UL, 1);
  wire(line::hall_U, 6);
  wire(line::hall_V, 7).drive = Drive::open_drain;
  wire(line::key, 8).safe = Level::low;
  return config;
}

class OnABoard : public testing::Test {
 protected:
  void open(const GpiodConfig& config = small_bench()) {
    controller = make_gpiod(config, gpiod::test::library_of(board));
    controller->open();
  }
  /// Reads until `edges` and `gaps` have come; false after ten seconds.
  bool read(std::size_t edges, std::size_t gaps = 0) {
    batch->clear();
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(10);
    while (std::chrono::steady_clock::now() < end) {
      controller->read(*batch);
      if (batch->edge_count >= edges && batch->gap_count >= gaps) return true;
      std::this_thread::yield();
    }
    return false;
  }
  std::string refusal(const GpiodConfig& config) {
    try {
      open(config);
    } catch (const ConfigError& error) {
      return error.path + ": " + error.what();
    }
    return "opened";
  }
  std::shared_ptr<gpiod::test::Board> board = std::make_shared<gpiod::test::Board>();
  std::unique_ptr<WiredController> controller;
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
};

TEST_F(OnABoard, OutputsStandAtTheirSafeLevelFromTheStart) {
  open();
  EXPECT_TRUE(board->driven(6).let_go);
  EXPECT_TRUE(board->driven(7).active) << "an open drain lets go while it is active";
  EXPECT_FALSE(board->driven(8).let_go);
  EXPECT_FALSE(board->driven(8).active);
}

TEST_F(OnABoard, EdgesOfQueuesOfTheirOwnComeInOrder) {
  open();
  const std::int64_t start = monotonic_ns();
  controller->arm(start);
  board->edges(std::array<gpiod::test::Board::Arriving, 4>{{{1, start + 40, true},
                                                            {1, start + 80, false},
                                                            {0, start + 20, true},
                                                            {0, start + 60, false}}});
  ASSERT_TRUE(read(4));
  for (std::size_t k = 0; k < 4; ++k)
    EXPECT_EQ(batch->edges[k].line, k % 2 == 0 ? line::gate_UH : line::gate_UL) << k;
  EXPECT_EQ(batch->edges[3].at, Time{80'000});
  EXPECT_EQ(controller->counts().gaps, 0u);
}

TEST_F(OnABoard, AGateThatStandsOnAtArmingBeginsAtZero) {
  board->level(0, true);
  open();
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(1));
  EXPECT_EQ(batch->edges[0].line, line::gate_UH);
  EXPECT_EQ(batch->edges[0].level, Level::high);
  EXPECT_EQ(batch->edges[0].at, Time{0});
}

TEST_F(OnABoard, ARepeatedDirectionIsAGap) {
  open();
  const std::int64_t start = monotonic_ns();
  controller->arm(start);
  board->edge(0, start + 10, true);
  board->edge(0, start + 50, true);
  ASSERT_TRUE(read(2, 1));
  EXPECT_EQ(batch->gaps[0].line, line::gate_UH);
  EXPECT_EQ(batch->gaps[0].lost, 0u) << "how many is unknown";
  EXPECT_EQ(controller->counts().lost_edges, 1u);
}

TEST_F(OnABoard, AFullQueueIsAGapEvenWhereRiseAndFallAlternate) {
  open();
  const std::int64_t start = monotonic_ns();
  controller->arm(start);
  board->fill_up(0);
  board->edge(0, start + 10, true);
  ASSERT_TRUE(read(1, 1));
  EXPECT_EQ(batch->gaps[0].from, Time{10'000});
}

TEST_F(OnABoard, OnlyWhatChangedIsWritten) {
  open();
  const int before = board->writes();
  WireOutputs out{.high = bit(line::hall_U) | bit(line::key)};
  EXPECT_TRUE(controller->write(out));
  EXPECT_EQ(board->writes() - before, 3) << "push-pull that may be let go, open drain, the rest";
  EXPECT_TRUE(controller->write(out));
  EXPECT_EQ(board->writes() - before, 3);
  out.high = bit(line::key);
  EXPECT_TRUE(controller->write(out));
  EXPECT_EQ(board->writes() - before, 4);
  EXPECT_FALSE(board->driven(6).active);
  EXPECT_FALSE(board->driven(6).let_go);
  EXPECT_TRUE(board->driven(8).active);
}

TEST_F(OnABoard, ReleasedMeansLetGoWhereTheLineCan) {
  open();
  WireOutputs out{.high = bit(line::hall_U) | bit(line::key),
                  .released = bit(line::hall_U) | bit(line::hall_V) | bit(line::key)};
  EXPECT_TRUE(controller->write(out));
  EXPECT_TRUE(board->driven(6).let_go);
  EXPECT_TRUE(board->driven(7).active);
  EXPECT_FALSE(board->driven(8).active) << "it cannot be let go: its safe level";
  out.released = 0;
  EXPECT_TRUE(controller->write(out));
  EXPECT_FALSE(board->driven(6).let_go);
  EXPECT_TRUE(board->driven(6).active);
  EXPECT_FALSE(board->driven(7).active);
}

TEST_F(OnABoard, SafeIsTheLastWord) {
  GpiodConfig config = small_bench();
  config.lines[index(line::hall_V)].safe = Level::low;
  open(config);
  const WireOutputs out{.high = bit(line::hall_U) | bit(line::hall_V) | bit(line::key)};
  controller->write(out);
  controller->make_safe();
  EXPECT_TRUE(board->driven(6).let_go);
  EXPECT_FALSE(board->driven(7).active) << "an open drain whose safe level is low pulls";
  EXPECT_FALSE(board->driven(8).active);
  EXPECT_TRUE(controller->write(out));
  EXPECT_TRUE(board->driven(6).let_go) << "write() does nothing any more";
}

/// The watchdog's part: from another thread, at any moment of the cycle's writing and reading.
TEST_F(OnABoard, SafeHasTheLastWordAlsoInTheMidstOfAWrite) {
  for (int round = 0; round < 100; ++round) {
    open();
    controller->arm(monotonic_ns());
    std::atomic<int> writes{0};
    std::atomic<bool> stop{false};
    std::thread cycle([&] {
      WireOutputs out;
      for (; !stop; ++writes) {
        out.high = writes % 2 == 0 ? 0 : bit(line::hall_U) | bit(line::hall_V) | bit(line::key);
        controller->write(out);
        batch->clear();
        controller->read(*batch);
      }
    });
    while (writes < 10 + round % 7) std::this_thread::yield();
    controller->make_safe();
    for (const int then = writes; writes < then + 10;) std::this_thread::yield();
    stop = true;
    cycle.join();
    EXPECT_TRUE(board->driven(6).let_go) << round;
    EXPECT_FALSE(board->driven(8).active) << round;
    controller.reset();
  }
}

TEST_F(OnABoard, DestructionLeavesSafeLevelsBehind) {
  open();
  controller->write({.high = bit(line::hall_U) | bit(line::key)});
  controller.reset();
  EXPECT_TRUE(board->driven(6).let_go);
  EXPECT_FALSE(board->driven(8).active);
}

TEST_F(OnABoard, AnUnpluggedChipIsAGapAndFailsTheNextWrite) {
  open();
  controller->arm(monotonic_ns());
  EXPECT_TRUE(controller->write({}));
  board->unplug();
  ASSERT_TRUE(read(0, 2)) << "one for each gate";
  EXPECT_FALSE(controller->write({}));
  EXPECT_GE(controller->counts().failed_writes, 1u);
}

TEST_F(OnABoard, TheWatchdogFollowsItsKicks) {
  GpiodConfig config = small_bench();
  config.watchdog.chip = "bench";  // by label
  config.watchdog.offset = 12;
  config.watchdog.safe = Level::low;
  open(config);
  controller->write({.kick = true});
  EXPECT_TRUE(board->driven(12).active);
  controller->write({.kick = false});
  EXPECT_FALSE(board->driven(12).active);
}

TEST_F(OnABoard, StopCircuitAndBusAreReadAsTheyStand) {
  open();
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::not_wired);
  GpiodConfig config = small_bench();
  config.stop_circuit.name = "L13";
  config.bus_dead.name = "L14";
  open(config);
  board->level(13, true);
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::on);
  EXPECT_EQ(controller->bench_inputs().bus_dead, Sensed::off);
  board->unplug();
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::off) << "unreadable is not closed";
}

TEST_F(OnABoard, ALineInUseIsToldWithItsOwner) {
  board->chips[0].lines[6] = {"HALL_U", "some-daemon", true};
  const std::string text = refusal(small_bench());
  EXPECT_THAT(text, HasSubstr("harness.lines.hall.U is line 6 of gpiochip0 (HALL_U)"));
  EXPECT_THAT(text, HasSubstr("\"some-daemon\""));
  EXPECT_THAT(text, HasSubstr("Stop that program"));
}

TEST_F(OnABoard, ALineThatIsNotThereIsRefused) {
  GpiodConfig config = small_bench();
  config.lines[index(line::gate_UH)].offset = 16;
  EXPECT_THAT(refusal(config), HasSubstr("allowed on gpiochip0: 0 to 15"));
  config = small_bench();
  config.lines[index(line::gate_UH)] = named("NO_SUCH");
  EXPECT_THAT(refusal(config), HasSubstr("no line is called so"));
  config = small_bench();
  config.lines[index(line::gate_UH)].chip = "gpiochip9";
  EXPECT_THAT(refusal(config), HasSubstr("Chips: gpiochip0 [bench]"));
  board->chips.clear();
  EXPECT_THAT(refusal(small_bench()), HasSubstr("no device /dev/gpiochip*"));
}

TEST_F(OnABoard, ANameThatTwoLinesHaveIsRefused) {
  board->chips[0].lines[3].name = "TWICE";
  board->chips[0].lines[4].name = "TWICE";
  GpiodConfig config = small_bench();
  config.lines[index(line::gate_UH)] = named("TWICE");
  EXPECT_THAT(refusal(config), HasSubstr("2 lines answer to TWICE"));
}

TEST_F(OnABoard, OneLineTakesOneWire) {
  GpiodConfig config = small_bench();
  config.lines[index(line::hall_W)] = named("L6");
  EXPECT_THAT(refusal(config), HasSubstr("which harness.lines.hall.U has already"));
}

TEST_F(OnABoard, WhatTheKernelRefusesComesWithAWayOut) {
  board->error = EINVAL;
  EXPECT_THAT(refusal(small_bench()), HasSubstr("no interrupt on that line"));
  board->error = EBUSY;
  EXPECT_THAT(refusal(small_bench()), HasSubstr("gpioinfo"));
}

TEST_F(OnABoard, AnOpenDrainIsNotInverted) {
  GpiodConfig config = small_bench();
  config.lines[index(line::hall_V)].inverted = true;
  EXPECT_THAT(refusal(config), HasSubstr("harness.lines.hall.V.inverted"));
}

}  // namespace
}  // namespace stillrotor::io
