// What the commands share that drive a bench's lines outside a run: consent, rights, and an end
// that leaves the outputs safe.
#pragma once

#include <atomic>
#include <functional>
#include <string_view>

#include "emulator/bench/bench.hpp"
#include "emulator/calibration/held_lines.hpp"
#include "io/wired.hpp"

namespace stillrotor {

/// Typed on a terminal, or given before (--wires-are-set). Throws InputError where it is neither.
void require_consent(bool given, std::string_view to_what);

struct LineSession {
  bool allow_soft = false;  // without the rights of a real-time loop
  const std::atomic<bool>* stop = nullptr;
};
/// Opens the wires, and does it in a thread of the cycle's priority and core, watched by the
/// watchdog. However it ends, the outputs stand at their safe level and the lines are given back.
/// Throws NotPermitted, io::ConfigError, and whatever `act` throws. True: in real time.
bool at_the_wires(const Bench&, io::WiredController&, const LineSession&,
                  const std::function<void(HeldLines&)>& act);

}  // namespace stillrotor
