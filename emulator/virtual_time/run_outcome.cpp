#include "emulator/virtual_time/run_outcome.hpp"

#include "emulator/virtual_time/world.hpp"

namespace stillrotor {

RunOutcome outcome_of(const BenchWorld& world) {
  RunOutcome outcome;
  outcome.end_ps = world.now_ps();
  outcome.gate_edges = world.gate_edges();
  outcome.sensor_edges = world.sensor_edges();
  outcome.late_gate_edges = world.late_gate_edges();
  outcome.plant = world.plant().health();
  outcome.magnet_left = world.plant().state().machine.magnet_left;
  return outcome;
}

}  // namespace stillrotor
