// What a run has come to, whichever clock it had.
#pragma once

#include <cstdint>
#include <string>

#include "emulator/handover/frame.hpp"
#include "io/connector.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

class BenchWorld;

struct RunOutcome {
  std::int64_t end_ps = 0;  // model time reached
  bool interrupted = false;
  bool stopped = false;  // by the person who drives, and complete up to end_ps
  io::Health controller = io::Health::running;
  std::string diagnosis;  // of the controller, when not running
  std::uint64_t gate_edges = 0, sensor_edges = 0;
  std::uint64_t late_gate_edges = 0;  // reported after the plant had passed them; acted at once
  plant::Drive::Health plant;  // numerical accidents, and time outside the machine's flux map
  double magnet_left = 1.0;    // share of the magnets' flux at the end
  double loop_cpu_s = 0.0, wall_s = 0.0;
};

/// All that the world itself knows of it.
RunOutcome outcome_of(const BenchWorld&);

/// Where only a real chip does what was asked of a simulated one: the record is not to be trusted
/// from there to the end, which is a gap in it.
void mark_doubt(const io::SimulatedController&, RunSink&, std::int64_t end_ps);

}  // namespace stillrotor
