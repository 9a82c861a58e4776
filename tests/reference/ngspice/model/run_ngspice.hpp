// ngspice as a program: a netlist in, waveforms on its own time points out.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace stillrotor::reference {

/// The program's path; empty where this machine has none.
std::string ngspice_program();

struct SpiceRun {
  std::vector<double> time_s;
  std::vector<std::vector<double>> saved;  // [signal][point], in the order of .save
  double wall_s = 0.0, cpu_s = 0.0;        // of the program, reading the netlist included
};

/// Runs `ngspice -b` in a temporary folder. Throws std::runtime_error with the program's own words
/// when it fails or stops early.
SpiceRun run_ngspice(const std::string& netlist);

}  // namespace stillrotor::reference
