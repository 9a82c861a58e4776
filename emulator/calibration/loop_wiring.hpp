// Loop-back: each output of the bench joined by its own wire to one of its inputs, and whether it
// really is.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/calibration/held_lines.hpp"

namespace stillrotor {

struct LoopPair {
  io::LineId output, input;
  bool inverts = false;  // the input is on while the wire is low
};

/// Which wires to set: gates first, and to them Halls and encoder before the switches, whose lines
/// may lead over a relay. As many as there are outputs or inputs, whichever are fewer.
std::vector<LoopPair> loop_pairs(const Bench&);
/// Inputs that no output is left for.
std::vector<io::LineId> unpaired_inputs(const Bench&, std::span<const LoopPair>);

/// The bench's controller with its lines as they are, each input on its own: for a bench with
/// fewer than six gate wires too.
io::ControllerConfig loop_back(const io::ControllerConfig&);

/// Toggles one output at a time, the others released, and sees who follows. Each sentence names a
/// fault and its remedy; empty: all pairs are joined, and only they. Ends with all released.
/// Throws as HeldLines.
std::vector<std::string> check_loop(HeldLines&, std::span<const LoopPair>);

}  // namespace stillrotor
