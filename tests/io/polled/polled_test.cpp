// Logic only; how punctual the polling is, tests/bench/polled_benchmark.cpp measures.
#include "io/polled/polled.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>

#include <atomic>
#include <chrono>
#include <thread>

#include "io/capture_thread.hpp"
#include "tests/io/polled/register_file.hpp"

namespace stillrotor::io {
namespace {

using test::RegisterFile;
using testing::HasSubstr;

constexpr std::uint32_t bit(LineId line) { return 1U << index(line); }

/// Gates on bits 4 to 9, VL inverted; Halls U, V, W on 16, 17 (open drain), 18; key on 20,
/// inverted.
PolledConfig bench(const RegisterFile& file) {
  PolledConfig config;
  config.registers = {.file = file.path(),
                      .level = RegisterFile::level,
                      .set = RegisterFile::set,
                      .clear = RegisterFile::clear,
                      .enable = RegisterFile::enable};
  for (std::size_t k = 0; k < gate_count; ++k) config.lines[k].bit = static_cast<int>(4 + k);
  config.lines[index(line::gate_VL)].inverted = true;
  config.lines[index(line::hall_U)].bit = 16;
  config.lines[index(line::hall_V)] = {.bit = 17, .drive = Drive::open_drain};
  config.lines[index(line::hall_W)] = {.bit = 18, .safe = Level::high};
  config.lines[index(line::key)] = {.bit = 20, .inverted = true, .safe = Level::low};
  config.gap_tolerance_s = 10.0;  // but for the tests of gaps
  return config;
}

class OnMappedWords : public testing::Test {
 protected:
  void open(const PolledConfig& config) {
    controller = make_polled(config);
    controller->open();
  }
  void open() { open(bench(file)); }
  bool read(std::size_t edges, std::size_t gaps = 0) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(30);
    while (std::chrono::steady_clock::now() < end) {
      batch->clear();
      controller->read(*batch);
      all.insert(all.end(), batch->edges.begin(), batch->edges.begin() + batch->edge_count);
      all_gaps.insert(all_gaps.end(), batch->gaps.begin(), batch->gaps.begin() + batch->gap_count);
      if (all.size() >= edges && all_gaps.size() >= gaps) return true;
      std::this_thread::yield();
    }
    return false;
  }
  std::string refusal(const PolledConfig& config) {
    try {
      open(config);
    } catch (const ConfigError& error) {
      return error.what();
    }
    return "opened";
  }
  RegisterFile file;
  std::unique_ptr<PolledController> controller;
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
  std::vector<Edge> all;
  std::vector<Gap> all_gaps;
};

/// Another process switches the six gates one by one, each after the last was seen here.
TEST_F(OnMappedWords, EveryEdgeOfAnotherProcessComesOnceAndInOrder) {
  open();
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(1));  // VL is inverted, so it stands on
  ASSERT_EQ(all[0].line, line::gate_VL);
  all.clear();
  constexpr std::uint32_t rounds = 120;
  const pid_t child = fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    for (std::uint32_t k = 0; k < rounds; ++k) {
      file.word(RegisterFile::level).fetch_xor(1U << (4 + k % 6));
      while (file.word(RegisterFile::acknowledged).load() <= k) sched_yield();
    }
    _exit(0);
  }
  for (std::uint32_t k = 0; k < rounds; ++k) {
    ASSERT_TRUE(read(k + 1)) << k;
    file.word(RegisterFile::acknowledged).store(k + 1);
  }
  int status = 0;
  waitpid(child, &status, 0);
  ASSERT_EQ(all.size(), rounds);
  for (std::size_t k = 0; k < rounds; ++k) {
    const bool first = k / 6 % 2 == 0, inverted = k % 6 == 3;
    EXPECT_EQ(index(all[k].line), k % 6) << k;
    EXPECT_EQ(all[k].level, first != inverted ? Level::high : Level::low) << k;
    EXPECT_TRUE(k == 0 || all[k].at >= all[k - 1].at) << k;
  }
  EXPECT_EQ(controller->counts().gaps, 0u);
  EXPECT_GT(controller->poll_gaps().quantile(0.5), 0u);
}

TEST_F(OnMappedWords, LinesThatChangeBetweenTwoLooksShareAStamp) {
  open();
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(1));
  all.clear();
  file.word(RegisterFile::level).store(1U << 4 | 1U << 6);
  ASSERT_TRUE(read(2));
  EXPECT_EQ(all[0].at, all[1].at);
}

TEST_F(OnMappedWords, BitsThatAreNotOursAreNoEdges) {
  open();
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(1));
  for (int k = 0; k < 100; ++k) file.word(RegisterFile::level).store(k % 2 == 0 ? 0xfff0000f : 0);
  file.word(RegisterFile::level).store(1U << 4);
  ASSERT_TRUE(read(2));
  EXPECT_EQ(all.size(), 2u);
}

/// The watchdog's part: from another thread, at any moment of the cycle's writing.
TEST_F(OnMappedWords, SafeHasTheLastWordAlsoInTheMidstOfAWrite) {
  PolledConfig config = bench(file);
  config.registers.set = config.registers.clear = -1;
  config.registers.output = RegisterFile::output;
  constexpr std::uint32_t key = 1U << 20, hall_W = 1U << 18, driven = key | hall_W;
  for (int round = 0; round < 100; ++round) {
    open(config);
    std::atomic<int> writes{0};
    std::atomic<bool> stop{false};
    std::thread cycle([&] {
      WireOutputs out;
      for (; !stop; ++writes) {
        out.high = writes % 2 == 0 ? 0 : bit(line::hall_U) | bit(line::hall_W) | bit(line::key);
        controller->write(out);
      }
    });
    while (writes < 10 + round % 7) std::this_thread::yield();
    controller->make_safe();
    for (const int then = writes; writes < then + 10;) std::this_thread::yield();
    stop = true;
    cycle.join();
    // key low is 1, its bit being inverted; Hall W high; Halls U and V let go.
    EXPECT_EQ(file.word(RegisterFile::output).load() & driven, driven) << round;
    EXPECT_EQ(file.word(RegisterFile::enable).load(), driven) << round;
    controller.reset();
  }
}

TEST_F(OnMappedWords, ALookThatCameTooLateIsAGapOfEveryInput) {
  PolledConfig config = bench(file);
  config.gap_tolerance_s = 0.0;  // nobody is that fast
  open(config);
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(0, gate_count));
  for (std::size_t k = 0; k < gate_count; ++k) {
    EXPECT_EQ(index(all_gaps[k].line), k);
    EXPECT_EQ(all_gaps[k].lost, 0u);
    EXPECT_LE(all_gaps[k].from, all_gaps[k].to);
  }
  EXPECT_GE(controller->counts().gaps, gate_count);
  EXPECT_EQ(controller->counts().lost_edges, 0u) << "none is known to be";
}

TEST_F(OnMappedWords, OutputsGoToSetAndClear) {
  open();
  file.word(RegisterFile::set).store(0);
  file.word(RegisterFile::clear).store(0);
  EXPECT_TRUE(controller->write({.high = bit(line::hall_U) | bit(line::key)}));
  EXPECT_EQ(file.word(RegisterFile::set).load(), 1U << 16);
  EXPECT_EQ(file.word(RegisterFile::clear).load(), 1U << 17 | 1U << 18 | 1U << 20)
      << "the key is inverted";
  EXPECT_EQ(file.word(RegisterFile::enable).load(), 1U << 16 | 1U << 17 | 1U << 18 | 1U << 20);
}

TEST_F(OnMappedWords, WhatIsReleasedIsNotDriven) {
  file.word(RegisterFile::enable).store(1U << 0 | 1U << 16 | 1U << 17);  // bit 0: somebody else's
  open();
  EXPECT_EQ(file.word(RegisterFile::enable).load(), 1U << 0 | 1U << 18 | 1U << 20) << "safe levels";
  controller->write({.high = bit(line::hall_V) | bit(line::hall_W), .released = bit(line::hall_W)});
  EXPECT_EQ(file.word(RegisterFile::enable).load(), 1U << 0 | 1U << 16 | 1U << 20)
      << "an open drain that is high drives nothing";
}

TEST_F(OnMappedWords, OneOutputRegisterKeepsOtherPeoplesBits) {
  PolledConfig config = bench(file);
  config.registers.set = config.registers.clear = -1;
  config.registers.output = RegisterFile::output;
  file.word(RegisterFile::output).store(0x80000001);
  open(config);
  controller->write({.high = bit(line::hall_U)});
  EXPECT_EQ(file.word(RegisterFile::output).load(), 0x80000001 | 1U << 16 | 1U << 20);
}

TEST_F(OnMappedWords, SafeIsTheLastWord) {
  PolledConfig config = bench(file);
  config.registers.set = config.registers.clear = -1;
  config.registers.output = RegisterFile::output;
  open(config);
  controller->write({.high = bit(line::hall_U) | bit(line::key)});
  EXPECT_EQ(file.word(RegisterFile::output).load() & 1U << 20, 0u);
  controller->make_safe();
  controller->write({.high = bit(line::hall_U) | bit(line::key)});
  EXPECT_NE(file.word(RegisterFile::output).load() & 1U << 18, 0u) << "Hall W: safe high";
  EXPECT_NE(file.word(RegisterFile::output).load() & 1U << 20, 0u) << "key: low, inverted";
  EXPECT_EQ(file.word(RegisterFile::enable).load(), 1U << 18 | 1U << 20);
  controller.reset();
  EXPECT_EQ(file.word(RegisterFile::enable).load(), 1U << 18 | 1U << 20);
}

TEST_F(OnMappedWords, TheBenchsOwnLinesAreReadAndKicked) {
  PolledConfig config = bench(file);
  config.stop_circuit.bit = 24;
  config.bus_dead = {.bit = 25, .inverted = true};
  config.watchdog = {.bit = 26, .safe = Level::low};
  open(config);
  file.word(RegisterFile::level).store(1U << 24 | 1U << 25);
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::on);
  EXPECT_EQ(controller->bench_inputs().bus_dead, Sensed::off);
  controller->write({.kick = true});
  EXPECT_NE(file.word(RegisterFile::set).load() & 1U << 26, 0u);
  controller->write({.kick = false});
  EXPECT_NE(file.word(RegisterFile::clear).load() & 1U << 26, 0u);
}

TEST_F(OnMappedWords, WhatCannotBeIsRefused) {
  PolledConfig config = bench(file);
  config.registers.level = -1;
  EXPECT_THAT(refusal(config), HasSubstr("controller.registers.level is missing"));
  config = bench(file);
  config.registers.set = -1;
  EXPECT_THAT(refusal(config), HasSubstr("allowed: set and clear, or output"));
  config = bench(file);
  config.registers.enable = -1;
  EXPECT_THAT(refusal(config), HasSubstr("harness.lines.hall.U is to be let go"));
  config = bench(file);
  config.lines[index(line::hall_W)].bit = 16;
  EXPECT_THAT(refusal(config), HasSubstr("which another line has already"));
  config = bench(file);
  config.lines[index(line::hall_V)].inverted = true;
  EXPECT_THAT(refusal(config), HasSubstr("harness.lines.hall.V.inverted"));
  config = bench(file);
  config.registers.level = 2;
  EXPECT_THAT(refusal(config), HasSubstr("multiples of 4"));
  config = bench(file);
  config.registers.level = 4096;
  EXPECT_THAT(refusal(config), HasSubstr("a file of 4096 bytes; the registers named need 4100"));
  config = bench(file);
  config.registers.file = "/no/such/device";
  EXPECT_THAT(refusal(config), HasSubstr("cannot be opened"));
}

TEST(PollGapSizes, EveryGapLiesInItsSize) {
  std::uint64_t gap = 0;
  for (int k = 0; k < 400; ++k, gap = gap * 17 / 16 + 1) {
    const std::size_t size = PollGaps::size_of(gap);
    EXPECT_GE(gap, PollGaps::least(size)) << gap;
    if (size + 1 < PollGaps::sizes) {
      EXPECT_LT(gap, PollGaps::least(size + 1)) << gap;
    }
  }
  EXPECT_LT(PollGaps::size_of(UINT64_MAX), PollGaps::sizes);
}

TEST(PollGapSizes, AQuantileIsTheEndOfItsSize) {
  PollGaps gaps;
  for (int k = 0; k < 99; ++k) gaps.add(3);
  gaps.add(1000);  // size from 896 to 1023
  EXPECT_EQ(gaps.quantile(0.5), 3u);
  EXPECT_EQ(gaps.quantile(1.0), 1023u);
}

}  // namespace
}  // namespace stillrotor::io
