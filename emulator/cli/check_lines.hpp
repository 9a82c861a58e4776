// What `check` does at the lines themselves, beyond reading files.
#pragma once

#include <filesystem>

#include "emulator/bench/bench.hpp"

namespace stillrotor {

struct LineChecks {
  bool wires_are_set = false;  // consent, given on the command line
  bool allow_soft = false;
};

/// check BENCH --calibrate FILE: loop-back at the bench's own lines, the controller unplugged.
/// Returns the exit status; throws what `report` knows.
int calibrate_lines(const Bench&, const std::filesystem::path& file, const LineChecks&);

/// check BENCH --arrangement: Hall codes held at the live controller, or at a simulated one in
/// virtual time.
int find_arrangement(const Bench&, const LineChecks&);

}  // namespace stillrotor
