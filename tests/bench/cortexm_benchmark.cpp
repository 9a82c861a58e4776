// The Cortex-M4F core alone, busy with what a field-oriented control interrupt computes
// (tests/io/cortexm/firmware/work.c). Argument: cycles a slice; 36 is about what stands between two
// edges of a drive at 20 kHz with its timers.
// instructions: executed a second, by the unit model; x_real_time: at 168 MHz, by the table.
#include <benchmark/benchmark.h>

#include "io/mcu/cortexm/program.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr Memories memories{0x08000000, 1 << 20, 0x20000000, 128 << 10, 0x10000000, 64 << 10};
constexpr Cycle stretch = 1'000'000;

void busy(benchmark::State& state, const Timing& timing, const char* what, double per) {
  const Program program = load_program(STILLROTOR_BUILD_DIR "/firmware/cortexm_work.elf", memories);
  Core core(memories, 82, timing);
  std::copy(program.flash.begin(), program.flash.end(), core.flash().begin());
  core.power_on();
  core.run(stretch);
  const auto slice = static_cast<Cycle>(state.range(0));
  for (auto _ : state)
    for (const Cycle end = core.now() + stretch; core.now() < end;) core.run(core.now() + slice);
  if (!core.can_go_on()) state.SkipWithError(core.end().c_str());
  state.counters[what] = benchmark::Counter(static_cast<double>(stretch) / per,
                                            benchmark::Counter::kIsIterationInvariantRate);
}
void instructions(benchmark::State& state) { busy(state, {.unit = true}, "instructions", 1.0); }
void by_the_table(benchmark::State& state) {
  busy(state, {.wait_states = 5, .prefetch = true, .instruction_cache = true}, "x_real_time",
       168e6);
}
BENCHMARK(instructions)->Arg(stretch)->Arg(1000)->Arg(36);
BENCHMARK(by_the_table)->Arg(stretch)->Arg(36);

}  // namespace
}  // namespace stillrotor::io::cortexm

BENCHMARK_MAIN();
