// A bench whose lines are about to be measured.
#pragma once

#include "emulator/bench/bench.hpp"

namespace stillrotor {

/// As load_bench(), but controller.calibration is left out: its file may be of other wires, or not
/// be there yet.
Bench load_uncalibrated_bench(const std::filesystem::path& file,
                              const std::vector<std::string>& overrides,
                              const std::filesystem::path& build_dir);

}  // namespace stillrotor
