// Where the plant's shaft is not free: a replayed capture says how its machine turned, or the bench
// imposes a speed.
// Units mechanical rad and rad/s; ps since the start of the run.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "io/capture/motion.hpp"
#include "io/connector.hpp"

namespace stillrotor {

struct SpeedStep {
  std::int64_t at_ps = 0;
  double speed_rad_s = 0.0;  // holds until the next step
};

struct GivenMotion {
  std::optional<double> start_angle_rad;
  std::vector<SpeedStep> speed;  // sorted; empty: the shaft is free
};

/// The bench's machine and position sensors, as a recording's decoder needs them.
io::CapturedMachine captured_machine(const plant::DriveParameters&);

/// Throws io::ConfigError: the recording cannot be read any more.
GivenMotion given_motion(const Bench&, const io::SimulatedController&);

}  // namespace stillrotor
