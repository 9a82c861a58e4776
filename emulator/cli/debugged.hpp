// run --gdb: a debugger at the firmware's processor, time standing still with it.
#pragma once

#include <memory>
#include <string>

#include "emulator/bench/bench.hpp"
#include "emulator/cli/run_watch.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "io/connector.hpp"
#include "io/mcu/debugger/debugger.hpp"

namespace stillrotor {

/// Listens at that port of 127.0.0.1. nullptr: the text is empty, nobody asked for it. Throws
/// InputError: no port that is allowed; io::ConfigError: not firmware on a simulated Cortex-M4F.
std::unique_ptr<io::mcu::Debugger> make_debugger(const std::string& port, const Bench&,
                                                 io::SimulatedController*);

/// Says where to connect; what the debugger asks and ends is this run.
void await_debugger(io::mcu::Debugger&, const RunWatch&, const StopSignals&);

}  // namespace stillrotor
