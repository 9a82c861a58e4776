// What the cycle promises beside its numbers: no allocation, no page fault; and what it needs to be
// granted.
#include "emulator/cycle/real_time.hpp"

#include <gtest/gtest.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <thread>

#include "emulator/cycle/simulated_wires.hpp"
#include "emulator/handover/dropping_sink.hpp"
#include "io/analog/with_analog.hpp"
#include "io/capture_thread.hpp"
#include "tests/emulator/cycle/support.hpp"
#include "tests/io/analog/recorded_ioctl.hpp"

#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define STILLROTOR_COUNTS_ALLOCATIONS
// Every allocation of this program passes through here, whoever asks: operator new, C, libraries.
namespace {
thread_local long allocations = 0;
}
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* malloc(std::size_t size) {
  ++allocations;
  return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
  ++allocations;
  return __libc_calloc(count, size);
}
void* realloc(void* old, std::size_t size) {
  ++allocations;
  return __libc_realloc(old, size);
}
}
#endif

namespace stillrotor::test {
namespace {

/// Key, ramps, faults, brake, by time and by conditions: everything that a scenario does to the
/// bench.
Scenario busy() {
  Scenario scenario = drive_off(300 * ms, 2.6);
  scenario.timeline.push_back(action(100 * ms, ActionKind::slope, 0.05, 20 * ms));
  scenario.timeline.push_back(fault(150 * ms, hall_line_open, 0));
  scenario.timeline.push_back(fault(160 * ms, hall_line_open, 0, true));
  scenario.timeline.push_back(fault(180 * ms, phase_open, 1));
  scenario.timeline.push_back(fault(190 * ms, phase_open, 1, true));
  const std::pair<const Fault*, FaultSettings> wires_and_sensors[] = {
      {&hall_line_glitching, {{0, 5e3, 20e-6}}},
      {&hall_displaced, {{1, 0.2}}},
      {&hall_lines_swapped, {{0}}},
      {&current_sensor_noisy, {{0, 0.5}}},
      {&current_sensor_drift, {{1, 10.0}}},
      {&current_sensors_swapped, {{0}}},
      {&gate_line_stuck, {{0, 0}}},
      {&throttle_wire_short, {{1}}},
      {&controller_brown_out, {{0.0}}},
      {&key_bounces, {{3.0, 1e-3}}}};
  for (const auto& [which, settings] : wires_and_sensors)
    for (const bool cleared : {false, true}) {
      scenario.timeline.push_back(fault_action(*which, settings, cleared));
      scenario.timeline.back().at_ps = (cleared ? 210 : 200) * ms;
    }
  std::stable_sort(scenario.timeline.begin(), scenario.timeline.end(),
                   [](const Action& a, const Action& b) { return a.at_ps < b.at_ps; });
  scenario.timeline.push_back(action(220 * ms, ActionKind::brake, 1.0));
  scenario.timeline.push_back(action(250 * ms, ActionKind::key, 0.0));
  const auto shape = [&](std::int64_t at_ps, ActionKind kind, Shape::Kind what) {
    Shape drawn;
    drawn.kind = what;
    drawn.size = 0.02;
    drawn.frequency_Hz = 100.0;
    drawn.lasts_ps = 50 * ms;
    if (what != Shape::Kind::sine) draw_noise(drawn, 1, 0);
    Action a = action(at_ps, kind, 0.0);
    a.shape = std::make_shared<const Shape>(std::move(drawn));
    a.least = -1.0;
    a.most = 1000.0;
    scenario.timeline.push_back(std::move(a));
  };
  shape(251 * ms, ActionKind::slope, Shape::Kind::sine);
  shape(252 * ms, ActionKind::load_torque, Shape::Kind::noise);
  shape(253 * ms, ActionKind::temperature, Shape::Kind::table);
  Action flickers = fault(255 * ms, hall_line_open, 0);
  flickers.flips = draw_flips({0.5, 1e-3, 20e-3}, 1, 0);
  flickers.end_mark = "hall_line_open cleared";
  scenario.timeline.push_back(std::move(flickers));
  const auto wait = [&](Watched what, double bound, Action does) {
    WaitingAction one;
    one.condition = {what, true, bound, 5 * ms, scenario.lasts_ps, "slope", "as written"};
    one.action = std::move(does);
    scenario.waiting.push_back(std::move(one));
  };
  wait(Watched::speed, 1.0, fault(0, hall_line_stuck, 2));
  wait(Watched::time_since, 0.02, fault(0, hall_line_stuck, 2, true));
  wait(Watched::distance, 1e6, action(0, ActionKind::reverse, 1.0));
  return scenario;
}

/// The whole loop as it runs on wires, but for its clock; late now and then.
struct WholeLoop {
  explicit WholeLoop(Bench bench_) : bench(std::move(bench_)) {
    clock.late_ns = [](std::int64_t due_ns) { return due_ns % (7 * ms_ns) == 0 ? 250 * us_ns : 0; };
    wired.begin();
  }
  CycleEnd go() {
    const CyclePlan plan{.period_ns = 100 * us_ns,
                         .delay_ns = std::llround(1e9 * bench.cycle.delay_s),
                         .lasts_ps = scenario.lasts_ps,
                         .live = live};
    return run_cycle(wired, clock, plan, 0, window, counts);
  }

  Bench bench;
  Scenario scenario = busy();
  HandClock clock;
  std::unique_ptr<io::SimulatedController> controller = io::make_controller(bench.controller);
  SimulatedWires wires{*controller, bench.controller_supply_V, bench.harness, clock};
  DroppingSink sink;
  WiredBench wired{bench, scenario, wires, sink};
  CycleWindow window;
  CycleCounts counts;
  LiveControl* live = nullptr;
};

/// Everything that can be done about gate edges: the mid bench's, 16 kHz with 1 us of dead time.
Bench treated(Bench bench, bool averaged) {
  bench.expects.pwm_frequency_Hz = 16e3;
  bench.expects.dead_time_s = 1e-6;
  bench.cycle.delay_s = 100e-6;
  bench.cycle.gates.overlap_tolerance_s = 5e-6;
  bench.cycle.gates.skew_s[0] = 1e-6;
  bench.cycle.gates.averaged = averaged;
  return bench;
}

#ifdef STILLROTOR_COUNTS_ALLOCATIONS
TEST(RealTime, TheCycleNeverAllocates) {
  for (const Bench& bench :
       {hub_bench(), mid_bench(), treated(mid_bench(), false), treated(mid_bench(), true)}) {
    WholeLoop loop(bench);
    const long before = allocations;
    const CycleEnd end = loop.go();
    EXPECT_EQ(allocations - before, 0);
    EXPECT_EQ(end, CycleEnd::complete);
    EXPECT_GT(loop.counts.missed_periods, 0U);
    EXPECT_GT(loop.wired.world().gate_edges(), 1000U);
  }
}

FaultSettings as_in_its_example(const Fault& fault) {
  FaultSettings settings;
  for (std::size_t k = 0; k < fault.options.size(); ++k)
    if (const FaultOption& option = fault.options[k]; option.words.empty())
      settings.value[k] =
          to_si(option.preset.empty() ? option.example : option.preset, option.family).si;
  return settings;
}

// Every quantity and every fault that this bench can have, one after the other and each fault over
// again, while the scenario does its own. What the person allocates is not the cycle's.
TEST(RealTime, TheCycleNeverAllocatesForAPersonWhoDrives) {
  WholeLoop loop(hub_bench());
  LiveControl live(false);
  loop.live = &live;
  std::vector<Action> todo;
  for (const ActionWord& word : action_words())
    if (word.kind != ActionKind::key && word.kind != ActionKind::supply)
      todo.push_back(action(
          0, word.kind,
          word.form == ActionWord::Form::on_off ? 1.0 : std::clamp(1.0, word.least, word.most)));
  for (const bool cleared : {false, true, false, true})
    for (const Fault* fault : fault_catalogue())
      if (is_possible(*fault, loop.bench) && (!cleared || fault->end != nullptr))
        todo.push_back(fault_action(*fault, as_in_its_example(*fault), cleared));
  std::size_t next = 0, taken = 0;
  long of_the_person = 0;
  loop.clock.late_ns = [&](std::int64_t) {
    const long before = allocations;
    if (live.answer() == LiveControl::Answer::taken) ++taken;
    if (live.offered() == nullptr && next < todo.size()) {
      todo[next].at_ps = loop.clock.now * 1000 + 300 * us;
      live.offer(std::make_unique<const Action>(todo[next++]));
    }
    of_the_person += allocations - before;
    return 0;
  };
  const long before = allocations;
  const CycleEnd end = loop.go();
  EXPECT_EQ(allocations - before - of_the_person, 0);
  EXPECT_EQ(end, CycleEnd::complete);
  EXPECT_GT(todo.size(), 100U);
  EXPECT_EQ(taken, todo.size());
}

/// Volts to a converter, gates as averages from another; a clock by hand outruns both, so neither
/// is ever found late.
TEST(RealTime, TheCycleNeverAllocatesWithConverters) {
  Bench bench = treated(mid_bench(), false);
  bench.cycle.gates = {};
  bench.cycle.gates.filtered = FilteredGateSettings{.complementary = true, .filter_s = 1e-3};
  io::SpiDacConfig dac;
  dac.part = *io::find_dac_part("ad5628");
  dac.reference_V = 5.0;
  dac.outputs = {{.channel = io::channel::throttle, .address = 0, .safe_V = 0.85},
                 {.channel = io::channel::phase_current_U, .address = 1, .safe_V = 2.5}};
  io::SpiAdcConfig adc;
  adc.part = *io::find_adc_part("mcp3208");
  adc.bus = {.device = "/dev/spidev0.1", .clock_Hz = 2e6};
  adc.reference_V = 5.0;
  adc.inputs = {{.name = "gates.UH", .address = 0, .filter_s = 1e-3},
                {.name = "gates.VH", .address = 1, .filter_s = 1e-3},
                {.name = "gates.WH", .address = 2, .filter_s = 1e-3}};
  bench.analog = {.dacs = {dac}, .adcs = {adc}};
  bench.analog.late_after_stores = bench.analog.stalled_after_stores = 10'000;
  io::RecordedIoctl ioctl;
  ioctl.answer = [](const auto& asked) {  // 2 V to all that is asked
    io::RecordedIoctl::Message answers(asked.size(), {0x00, 0x06, 0x66});
    for (std::size_t k = 0; k < asked.size(); ++k) answers[k].resize(asked[k].size());
    return answers;
  };
  HandClock clock;
  const Scenario scenario = busy();
  DroppingSink sink;
  const auto wires = io::with_analog(std::make_unique<ScriptedWires>(clock), bench.analog, ioctl);
  wires->open();
  constexpr std::int64_t hour_ns = 3'600'000'000'000;
  wires->arm(io::monotonic_ns() - hour_ns);  // readings come from the future
  WiredBench wired(bench, scenario, *wires, sink);
  wired.begin();
  const CyclePlan plan{
      .period_ns = 100 * us_ns, .delay_ns = 100 * us_ns, .lasts_ps = scenario.lasts_ps};
  CycleWindow window;
  CycleCounts counts;
  const long before = allocations;
  const CycleEnd end = run_cycle(wired, clock, plan, 0, window, counts);
  EXPECT_EQ(allocations - before, 0);
  EXPECT_EQ(end, CycleEnd::complete);
  EXPECT_GT(wired.world().gate_edges(), 1000U);
  wires->close();
}

TEST(RealTime, TheGuardSeesAnAllocation) {
  const long before = allocations;
  std::free(std::malloc(10));
  delete new int(1);
  EXPECT_EQ(allocations - before, 2);
}
#endif

TEST(RealTime, TheCycleMeetsNoPageFaultOnceMemoryIsLocked) {
#ifndef STILLROTOR_COUNTS_ALLOCATIONS
  GTEST_SKIP() << "sanitizers lock no memory";
#endif
  const auto missing = missing_rights({});
  const bool locked = std::none_of(missing.begin(), missing.end(), [](const MissingRight& m) {
    return m.what.find("Memory cannot be locked") != std::string::npos;
  });
  if (!locked) GTEST_SKIP() << missing.back().what << " " << missing.back().remedy;
  ThreadUse used;
  CycleEnd end = CycleEnd::asked;
  WholeLoop loop(treated(mid_bench(), true));
  std::thread([&] {
    take_seat({});
    const ThreadUse before = thread_use();
    end = loop.go();
    used = thread_use() - before;
  }).join();
  unlock_memory();
  EXPECT_EQ(end, CycleEnd::complete);
  EXPECT_EQ(used.minor_faults, 0);
  EXPECT_EQ(used.major_faults, 0);
}

TEST(RealTime, CountsThePageFaultsOfMemoryThatIsTouchedFirst) {
  constexpr std::size_t size = 1 << 20;
  void* fresh = mmap(nullptr, size, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
  ASSERT_NE(fresh, MAP_FAILED);
  const ThreadUse before = thread_use();
  for (std::size_t k = 0; k < size; k += 4096) static_cast<volatile char*>(fresh)[k] = 1;
  EXPECT_GT((thread_use() - before).minor_faults, 0);
  munmap(fresh, size);
}

/// What a user without any rights is told; in a child, for rights do not come back.
void tell_missing_rights() {
  const rlimit none{0, 0}, little{64 << 10, 64 << 10};
  setrlimit(RLIMIT_RTPRIO, &none);
  setrlimit(RLIMIT_MEMLOCK, &little);
  if (geteuid() == 0 && setuid(65'534) != 0) std::_Exit(3);
  for (const MissingRight& m : missing_rights({80, 5000}))
    std::cerr << m.what << " " << m.remedy << "\n";
  std::_Exit(0);
}

constexpr const char* told_of_seat =
    "SCHED_FIFO priority 81 is not granted.*rtprio is 0.*limits.d.*LimitRTPRIO.*setcap.*"
    "--allow-soft.*\nCore 5000 cannot be used.*cycle.core.*";
#ifdef STILLROTOR_COUNTS_ALLOCATIONS
constexpr const char* told_of_memory =
    "\nMemory cannot be locked.*memlock is 65536.*limits.d.*LimitMEMLOCK.*setcap";
#else
constexpr const char* told_of_memory = "";  // sanitizers pretend to lock
#endif

TEST(RealTimeDeathTest, MissingRightsAreNamedWithTheirRemedy) {
  GTEST_FLAG_SET(death_test_style, "threadsafe");
  EXPECT_EXIT(tell_missing_rights(), testing::ExitedWithCode(0),
              std::string(told_of_seat) + told_of_memory);
}

TEST(MonotonicClock, SleepsToTheDeadlineAndReturnsAtOnceFromOneThatIsPast) {
  for (const std::int64_t spin_ns : {0, 200'000}) {
    MonotonicClock clock(spin_ns);
    const std::int64_t due = clock.now_ns() + 1'000'000;
    clock.sleep_until(due);
    EXPECT_GE(clock.now_ns(), due);
    clock.sleep_until(due - 500'000'000);
  }
}

}  // namespace
}  // namespace stillrotor::test
