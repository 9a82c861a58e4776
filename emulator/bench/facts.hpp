// What follows from a bench before anything runs: figures that people compare with what they know
// of their drive, and what the controller's inputs will be asked for.
#pragma once

#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"

namespace stillrotor {

struct Fact {
  std::string what;
  double value;
  std::string unit;
  std::string how;  // the formula, in words
};

std::vector<Fact> facts(const Bench&);

/// What to know where the plant's steps are so short that runs may take longer than they drive;
/// else empty. Which parameter, and what would do.
std::string remark_on_steps(const Bench&);

/// At which the rectifier of the freewheel diodes begins to conduct with all switches off:
/// line-to-line peak = v_dc + 2 v_f (two diodes in series). rad/s, mechanical.
double rectification_onset_rad_s(const Bench&);

/// Both phases of a standing machine across the full supply: what flows when a controller does not
/// limit it. A.
double stall_current_A(const Bench&);

}  // namespace stillrotor
