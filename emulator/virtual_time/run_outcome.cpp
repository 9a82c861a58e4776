#include "emulator/virtual_time/run_outcome.hpp"

#include "emulator/virtual_time/world.hpp"
#include "io/doubt.hpp"

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

void mark_doubt(const io::SimulatedController& tested, RunSink& sink, std::int64_t end_ps) {
  const auto* doubter = dynamic_cast<const io::Doubter*>(&tested);
  const auto doubt = doubter != nullptr ? doubter->doubt() : std::nullopt;
  if (doubt) sink.mark(MarkKind::gap, doubt->from.count(), "not modelled", doubt->why, end_ps);
}

}  // namespace stillrotor
