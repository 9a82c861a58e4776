// Runs a bench's own real-time cycle in virtual time, its controller behind a route of wires: what
// the wires would get wrong, before anything is wired.
//
// Turns  at whole multiples of cycle.period, none late: read, advance, write, as cycle/wired_bench
//        does it on real wires, cycle.delay and cycle.gates included.
// Same inputs, same binary: the same record to the byte.
#pragma once

#include "emulator/cycle/wired_bench.hpp"
#include "emulator/rehearsal/route.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor {

struct RehearsedOutcome {
  RunOutcome run;
  io::WireCounts wires;
  GateReport gates;
  std::uint64_t gone = 0;  // edges lost on the way, told or not
};

/// As run_virtual(); options.look_ahead_ps has no meaning here. The controller is one that has not
/// run yet. Throws InputError or io::ConfigError before the first turn; not afterwards.
RehearsedOutcome run_rehearsed(const Bench&, const Scenario&, io::SimulatedController&,
                               const RehearsedRoute&, RunSink&, const RunOptions& = {});

}  // namespace stillrotor
