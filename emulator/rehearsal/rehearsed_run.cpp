#include "emulator/rehearsal/rehearsed_run.hpp"

#include <time.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"
#include "emulator/rehearsal/rehearsed_wires.hpp"
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

std::string_view stopped(io::Health health) noexcept {
  switch (health) {
    case io::Health::exited:
      return "controller exited";
    case io::Health::crashed:
      return "controller crashed";
    default:
      return "controller hung";
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

  RehearsedOutcome outcome;
  RunOutcome& run = outcome.run;
  const double cpu_before_s = thread_cpu_s();
  const std::int64_t period_ps = ps(bench.cycle.period_s), delay_ps = ps(bench.cycle.delay_s);
  wired->begin();
  wired->event("rehearsal", route.asked + ": " + described(route));
  for (std::int64_t due_ps = period_ps; world.now_ps() < scenario.lasts_ps && !run.interrupted;
       due_ps += period_ps) {
    wires.stand_at(due_ps);
    wired->read();
    wired->advance(std::min(due_ps - delay_ps, scenario.lasts_ps));
    wired->write();
    if (run.controller == io::Health::running && wires.health() != io::Health::running) {
      run.controller = wires.health();
      run.diagnosis = wires.diagnosis();
      wired->event(stopped(run.controller), run.diagnosis);
    }
    run.interrupted = pace.passes(world.now_ps());
  }
  wired->end();

  run.end_ps = world.now_ps();
  run.gate_edges = world.gate_edges();
  run.sensor_edges = world.sensor_edges();
  outcome.gates = wired->gate_report();
  run.late_gate_edges = outcome.gates.cleaning.late;
  run.plant = world.plant().health();
  run.magnet_left = world.plant().state().machine.magnet_left;
  run.loop_cpu_s = thread_cpu_s() - cpu_before_s;
  run.wall_s = pace.wall_s();
  outcome.wires = wires.counts();
  outcome.gone = wires.gone();
  return outcome;
}

}  // namespace stillrotor
