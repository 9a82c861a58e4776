#include "emulator/rehearsal/rehearsed_run.hpp"

#include <time.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"
#include "emulator/rehearsal/rehearsed_wires.hpp"
#include "emulator/virtual_time/controller_stop.hpp"
#include "emulator/virtual_time/given_motion.hpp"
#include "emulator/virtual_time/wall_pace.hpp"

namespace stillrotor {
namespace {

std::int64_t ps(double s) { return std::llround(s * 1e12); }

double thread_cpu_s() noexcept {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

std::unique_ptr<WiredBench> built(const Bench& bench, const Scenario& scenario,
                                  const io::SimulatedController& tested, RehearsedWires& wires,
                                  RunSink& sink) {
  try {
    return std::make_unique<WiredBench>(bench, scenario, wires, sink, given_motion(bench, tested));
  } catch (const std::invalid_argument& error) {
    throw InputError(bench.file.string() + ": " + error.what());
  }
}

}  // namespace

RehearsedOutcome run_rehearsed(const Bench& bench, const Scenario& scenario,
                               io::SimulatedController& tested, const RehearsedRoute& route,
                               RunSink& sink, const RunOptions& options) {
  RehearsedWires wires(tested, bench.controller_supply_V, bench.harness, route, scenario.seed);
  const auto wired = built(bench, scenario, tested, wires, sink);
  const BenchWorld& world = wired->world();
  WallPace pace(options.pace_wall, options.stop, [&](std::int64_t model_ps) {
    const Frame& frame = world.latest_frame();
    if (options.progress)
      options.progress(static_cast<double>(model_ps) * 1e-12,
                       static_cast<double>(frame.value[static_cast<std::size_t>(Signal::speed)]),
                       static_cast<double>(current_peak_A(frame)));
  });

  const double cpu_before_s = thread_cpu_s();
  const std::int64_t period_ps = ps(bench.cycle.period_s), delay_ps = ps(bench.cycle.delay_s);
  wired->begin();
  wired->event("rehearsal", route.asked + ": " + described(route));
  io::Health health = io::Health::running;
  bool interrupted = false;
  for (std::int64_t due_ps = period_ps; world.now_ps() < scenario.lasts_ps && !interrupted;
       due_ps += period_ps) {
    wires.stand_at(due_ps);
    wired->read();
    wired->advance(std::min(due_ps - delay_ps, scenario.lasts_ps));
    wired->write();
    if (health == io::Health::running && wires.health() != io::Health::running) {
      health = wires.health();
      wired->event(stop_event(health), wires.diagnosis());
    }
    interrupted = pace.passes(world.now_ps());
  }
  wired->end();
  mark_doubt(tested, sink, world.now_ps());

  RehearsedOutcome outcome;
  outcome.run = outcome_of(world);
  RunOutcome& run = outcome.run;
  run.interrupted = interrupted;
  run.controller = health;
  run.diagnosis = wires.diagnosis();
  outcome.gates = wired->gate_report();
  run.late_gate_edges = outcome.gates.cleaning.late;
  run.loop_cpu_s = thread_cpu_s() - cpu_before_s;
  run.wall_s = pace.wall_s();
  outcome.wires = wires.counts();
  outcome.gone = wires.gone();
  return outcome;
}

}  // namespace stillrotor
