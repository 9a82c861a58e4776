// io/gpiod on the kernel's own character device. Runs inside the machine that vm.sh boots: SIM is
// the simulated chip's folder, SIM_SWITCH unplugs it. Nothing here asserts a time.
#include "io/gpiod/gpiod.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <pthread.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <fstream>
#include <thread>

#include "io/capture_thread.hpp"
#include "io/gpiod/library.hpp"

// Every allocation of this program and of the library passes here.
namespace {
thread_local bool counting = false;
thread_local int allocations = 0;
}  // namespace
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* malloc(std::size_t size) {
  if (counting) ++allocations;
  return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
  if (counting) ++allocations;
  return __libc_calloc(count, size);
}
}

namespace stillrotor::io {
namespace {

using testing::HasSubstr;

constexpr std::uint32_t bit(LineId line) { return 1U << index(line); }
constexpr std::array gates{line::gate_UH, line::gate_UL, line::gate_VH,
                           line::gate_VL, line::gate_WH, line::gate_WL};

std::string line_file(int offset, const char* file) {
  return std::string(std::getenv("SIM")) + "/sim_gpio" + std::to_string(offset) + "/" + file;
}
void write_to(const std::string& path, const char* text) {
  std::ofstream stream(path);
  stream << text << std::flush;
  if (!stream) ADD_FAILURE() << "cannot write " << text << " to " << path;
}
/// What stands at the other end of the wire.
void pull(int offset, bool up) {
  write_to(line_file(offset, "pull"), up ? "pull-up" : "pull-down");
}
int value(int offset) {
  std::ifstream stream(line_file(offset, "value"));
  int level = -1;
  stream >> level;
  return level;
}

/// Does the wire follow its resistors? The simulated chip keeps the last level of a line that is
/// let go until its pull changes; of an open drain, which the kernel makes of an input, it keeps it
/// for good, so that only its pulling can be seen here.
bool let_go(int offset) {
  pull(offset, true);
  const bool up = value(offset) == 1;
  pull(offset, false);
  return up && value(offset) == 0;
}

GpiodLine named(const char* name) {
  GpiodLine line;
  line.name = name;
  return line;
}

/// Halls U push-pull, V open drain, W inverted, key safe at low.
GpiodConfig bench() {
  GpiodConfig config;
  constexpr std::array names{"UH", "UL", "VH", "VL", "WH", "WL"};
  for (std::size_t k = 0; k < gates.size(); ++k) config.lines[index(gates[k])] = named(names[k]);
  config.lines[index(line::hall_U)] = named("HALL_U");
  config.lines[index(line::hall_V)] = named("HALL_V");
  config.lines[index(line::hall_V)].drive = Drive::open_drain;
  config.lines[index(line::hall_W)].chip = "bench";  // by label
  config.lines[index(line::hall_W)].offset = 8;
  config.lines[index(line::hall_W)].inverted = true;
  config.lines[index(line::hall_W)].safe = Level::high;
  config.lines[index(line::key)].chip = "/dev/gpiochip0";
  config.lines[index(line::key)].offset = 9;
  config.lines[index(line::key)].safe = Level::low;
  config.stop_circuit = named("STOP");
  config.bus_dead = named("BUS");
  config.bus_dead.inverted = true;
  config.watchdog = named("DOG");
  config.watchdog.safe = Level::low;
  return config;
}

bool numbered_edges() { return gpiod::make_library()->version()[0] >= '2'; }

class OnKernel : public testing::Test {
 protected:
  void SetUp() override {
    for (int k = 0; k < 14; ++k) pull(k, false);
  }
  void open(const GpiodConfig& config = bench()) {
    controller = make_gpiod(config);
    controller->open();
  }
  /// Reads until `edges` and `gaps` have come in all; false after a minute.
  bool read(std::size_t edges, std::size_t gaps = 0) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::minutes(1);
    while (std::chrono::steady_clock::now() < end) {
      batch->clear();
      controller->read(*batch);
      all.insert(all.end(), batch->edges.begin(), batch->edges.begin() + batch->edge_count);
      all_gaps.insert(all_gaps.end(), batch->gaps.begin(), batch->gaps.begin() + batch->gap_count);
      if (all.size() >= edges && all_gaps.size() >= gaps) return true;
      usleep(1000);
    }
    return false;
  }
  void settle() {
    std::size_t seen = 0;
    do {
      seen = all.size() + all_gaps.size();
      usleep(100'000);
      read(0);
    } while (seen != all.size() + all_gaps.size());
  }
  std::unique_ptr<WiredController> controller;
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
  std::vector<Edge> all;
  std::vector<Gap> all_gaps;
};

TEST_F(OnKernel, EdgesOfSixGatesComeInTheOrderInWhichTheyHappened) {
  open();
  const std::int64_t start = monotonic_ns();
  controller->arm(start);
  constexpr int rounds = 20;
  for (int k = 0; k < rounds * 6; ++k) {
    pull(k % 6, k / 6 % 2 == 0);
    usleep(500);
  }
  const std::int64_t end = monotonic_ns();
  ASSERT_TRUE(read(rounds * 6));
  ASSERT_EQ(all.size(), std::size_t{rounds * 6});
  for (std::size_t k = 0; k < all.size(); ++k) {
    EXPECT_EQ(all[k].line, gates[k % 6]) << k;
    EXPECT_EQ(all[k].level, k / 6 % 2 == 0 ? Level::high : Level::low) << k;
    EXPECT_TRUE(k == 0 || all[k].at >= all[k - 1].at) << k;
    EXPECT_LE(all[k].at.count(), (end - start) * 1000) << k;
  }
  EXPECT_EQ(controller->counts().gaps, 0u);
  EXPECT_EQ(controller->counts().late_stamps, 0u);
}

TEST_F(OnKernel, AGateThatStandsOnAtArmingBeginsAtZero) {
  pull(2, true);
  open();
  usleep(20'000);
  controller->arm(monotonic_ns());
  ASSERT_TRUE(read(1));
  EXPECT_EQ(all[0].line, line::gate_VH);
  EXPECT_EQ(all[0].at, Time{0});
}

TEST_F(OnKernel, HallsGoOut) {
  pull(6, true);  // the resistors on the wires
  pull(7, true);
  open();
  EXPECT_EQ(value(6), 1) << "released, and pulled up";
  EXPECT_EQ(value(7), 1);
  EXPECT_EQ(value(8), 0) << "safe: high at the wire, so low at the inverted line";
  EXPECT_EQ(value(9), 0);

  EXPECT_TRUE(controller->write({.high = bit(line::hall_W) | bit(line::key)}));
  EXPECT_EQ(value(6), 0);
  EXPECT_EQ(value(7), 0);
  EXPECT_EQ(value(8), 0);
  EXPECT_EQ(value(9), 1);

  EXPECT_TRUE(controller->write({.high = bit(line::hall_U)}));
  EXPECT_EQ(value(6), 1);
  EXPECT_EQ(value(8), 1);
  EXPECT_EQ(value(9), 0);
  EXPECT_FALSE(let_go(6));
  EXPECT_TRUE(controller->write({.released = bit(line::hall_U)}));
  EXPECT_TRUE(let_go(6));
  EXPECT_TRUE(controller->write({}));
  EXPECT_FALSE(let_go(6)) << "driven again";
}

TEST_F(OnKernel, TheWatchdogIsKickedAndStopCircuitAndBusAreRead) {
  pull(12, true);
  open();
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::off);
  EXPECT_EQ(controller->bench_inputs().bus_dead, Sensed::off) << "inverted";
  pull(11, true);
  pull(12, false);
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::on);
  EXPECT_EQ(controller->bench_inputs().bus_dead, Sensed::on);
  controller->write({.kick = true});
  EXPECT_EQ(value(13), 1);
  controller->write({.kick = false});
  EXPECT_EQ(value(13), 0);
}

TEST_F(OnKernel, SafeLevelsHoldAgainstLaterWrites) {
  pull(6, true);
  open();
  controller->write({.high = bit(line::key)});
  EXPECT_EQ(value(6), 0);
  EXPECT_EQ(value(9), 1);
  controller->make_safe();
  EXPECT_TRUE(let_go(6));
  EXPECT_EQ(value(9), 0);
  controller->write({.high = bit(line::key)});
  EXPECT_TRUE(let_go(6));
  EXPECT_EQ(value(9), 0);
  controller->close();
  controller->close();
  EXPECT_TRUE(let_go(6));
}

TEST_F(OnKernel, ReadingWritingAndMakingSafeAllocateNothing) {
  open();
  controller->arm(monotonic_ns());
  pull(0, true);
  allocations = 0;
  counting = true;
  for (int k = 0; k < 20; ++k) {
    WireOutputs out{.high = k % 2 == 0 ? ~0U : 0, .released = k % 3 == 0 ? ~0U : 0};
    out.kick = k % 2 == 0;
    controller->write(out);
    controller->read(*batch);
    controller->bench_inputs();
  }
  controller->make_safe();
  counting = false;
  EXPECT_EQ(allocations, 0);
  counting = true;
  void* volatile one = std::malloc(1);  // the count itself works
  counting = false;
  EXPECT_EQ(allocations, 1);
  std::free(one);
}

/// The capture thread cannot run while this one, urgent and on the same core, toggles. The kernel's
/// own interrupt threads (priority 50) still can.
TEST_F(OnKernel, ALossIsFoundAndCounted) {
  open();
  controller->arm(monotonic_ns());
  read(0);
  constexpr std::size_t sent = 4000;  // each of the kernels' queues is shorter
  std::thread burst([] {
    sched_param urgent{};
    urgent.sched_priority = 30;
    ASSERT_EQ(pthread_setschedparam(pthread_self(), SCHED_FIFO, &urgent), 0);
    for (std::size_t k = 0; k < sent; ++k) pull(0, k % 2 == 0);
  });
  burst.join();
  pull(0, true);  // an edge after the loss, by which the numbers show it
  settle();
  const WireCounts counts = controller->counts();
  std::printf("sent %zu, read %zu, known to be lost %zu in %zu gaps\n", sent + 1, all.size(),
              std::size_t(counts.lost_edges), std::size_t(counts.gaps));
  ASSERT_LT(all.size(), sent) << "nothing was lost, so nothing was tested";
  ASSERT_GE(all_gaps.size(), 1u);
  for (const Gap& gap : all_gaps) EXPECT_EQ(gap.line, line::gate_UH);
  if (numbered_edges()) {
    EXPECT_EQ(all.size() + counts.lost_edges, sent + 1);
  }
}

TEST_F(OnKernel, ABurstThatFitsTheQueueLosesNothing) {
  if (!numbered_edges()) GTEST_SKIP() << "libgpiod 1 has a queue of 16";
  open();
  controller->arm(monotonic_ns());
  std::thread burst([] {
    sched_param urgent{};
    urgent.sched_priority = 30;
    ASSERT_EQ(pthread_setschedparam(pthread_self(), SCHED_FIFO, &urgent), 0);
    for (int k = 0; k < 900; ++k) pull(0, k % 2 == 0);
  });
  burst.join();
  ASSERT_TRUE(read(900));
  EXPECT_EQ(controller->counts().gaps, 0u);
}

TEST_F(OnKernel, ALineInUseIsToldWithItsOwner) {
  open();
  GpiodConfig second;
  second.lines[index(line::hall_U)] = named("HALL_U");
  const auto other = make_gpiod(second);
  try {
    other->open();
    FAIL() << "took a line that is in use";
  } catch (const ConfigError& error) {
    EXPECT_THAT(error.what(), HasSubstr("(HALL_U), which \"stillrotor\" has already"));
  }
  controller->close();
  EXPECT_NO_THROW(other->open()) << "given back";
}

TEST_F(OnKernel, ALineThatIsNotThereIsRefused) {
  GpiodConfig config;
  config.lines[index(line::hall_U)] = named("NO_SUCH");
  try {
    open(config);
    FAIL();
  } catch (const ConfigError& error) {
    EXPECT_THAT(error.what(), HasSubstr("no line is called so"));
    EXPECT_THAT(error.what(), HasSubstr("[bench]"));
  }
}

// A killed program gives no safe levels. The lines go back to the kernel, and it to what the chip's
// driver does: here, inputs with their pull.
TEST_F(OnKernel, AKilledProgramLeavesLinesAtTheKernelsDefault) {
  pull(6, true);
  pull(9, true);  // against the safe level, which is low
  int ready[2];
  ASSERT_EQ(pipe(ready), 0);
  const pid_t child = fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    const auto mine = make_gpiod(bench());
    mine->open();
    mine->write({.high = 0});
    if (::write(ready[1], "", 1) != 1) _exit(1);
    for (;;) pause();
  }
  char byte;
  ASSERT_EQ(::read(ready[0], &byte, 1), 1);
  EXPECT_EQ(value(6), 0) << "driven low";
  EXPECT_EQ(value(9), 0);
  kill(child, SIGKILL);
  int status = 0;
  waitpid(child, &status, 0);
  ASSERT_TRUE(WIFSIGNALED(status));
  EXPECT_EQ(value(6), 1) << "the pull";
  EXPECT_EQ(value(9), 1) << "the pull, not the safe level";
  EXPECT_NO_THROW(open()) << "the lines can be had again";
}

// Last: it takes the chip away.
TEST_F(OnKernel, AnUnpluggedChipIsAGapAndFailsTheNextWrite) {
  open();
  controller->arm(monotonic_ns());
  EXPECT_TRUE(controller->write({.high = bit(line::key)}));
  write_to(std::getenv("SIM_SWITCH"), "0");
  EXPECT_FALSE(controller->write({.high = 0}));
  ASSERT_TRUE(read(0, gates.size()));
  EXPECT_FALSE(controller->write({.high = 0}));
  EXPECT_EQ(controller->bench_inputs().stop_circuit, Sensed::off);
  EXPECT_GE(controller->counts().failed_writes, 2u);
  controller->make_safe();
  controller->close();
  try {
    open();
    FAIL() << "opened a chip that is gone";
  } catch (const ConfigError& error) {
    EXPECT_THAT(error.what(), HasSubstr("no device /dev/gpiochip*"));
  }
}

}  // namespace
}  // namespace stillrotor::io
