#include "emulator/cycle/watchdog.hpp"

#include <gtest/gtest.h>

#include <thread>

#include "tests/emulator/cycle/support.hpp"

namespace stillrotor::test {
namespace {

TEST(HeartbeatWatch, IsOverdueOnlyWhenNoBeatCameForLongerThanAllowed) {
  HeartbeatWatch heart(1000, 5000);
  EXPECT_FALSE(heart.overdue(6000, 0));  // exactly as long as allowed since it began
  EXPECT_TRUE(heart.overdue(6001, 0));
  EXPECT_FALSE(heart.overdue(6500, 1));  // a beat: counted from when it was seen
  EXPECT_FALSE(heart.overdue(7500, 1));
  EXPECT_TRUE(heart.overdue(7501, 1));
  EXPECT_FALSE(heart.overdue(9000, 2));
}

/// Waits for what has to come; a test that waits for ever is stopped by CTest.
template <class Condition>
void wait_for(Condition come) {
  while (!come()) std::this_thread::yield();
}

TEST(Watchdog, MakesOutputsSafeWhileTheCycleHangsInsideAWrite) {
  CycleRun run(hub_bench(), drive_off(100 * ms, 2.6));
  run.wires.on_write = [&](const io::WireOutputs&) {
    if (run.wires.writes == 5) wait_for([&] { return run.window.watchdog_fired.load(); });
  };
  // Longer than a busy computer takes for the first four turns.
  const Watchdog watchdog(run.wires, run.window, 300 * ms_ns, {});
  run.go();
  EXPECT_EQ(run.end, CycleEnd::watchdog);
  EXPECT_TRUE(run.wires.safe);
  EXPECT_EQ(run.wires.writes, 5U);
}

// A limit of a day; CTest's own time limit fails this where the end waits for the next look.
TEST(Watchdog, DoesNotHoldUpTheEndOfARun) {
  CycleWindow window;
  HandClock clock;
  ScriptedWires wires(clock);
  const Watchdog watchdog(wires, window, 86'400'000 * ms_ns, {});
}

TEST(Watchdog, LeavesALivingCycleAloneAndOneThatHasNotBegun) {
  CycleWindow window;
  HandClock clock;
  ScriptedWires wires(clock);
  MonotonicClock wall;
  {
    const Watchdog watchdog(wires, window, 1000 * ms_ns, {});
    wall.sleep_until(wall.now_ns() + 20 * ms_ns);
    window.begun = true;
    for (int k = 0; k < 20; ++k) {
      window.turns.fetch_add(1);
      wall.sleep_until(wall.now_ns() + ms_ns);
    }
  }
  EXPECT_FALSE(wires.safe);
  EXPECT_FALSE(window.watchdog_fired);
}

}  // namespace
}  // namespace stillrotor::test
