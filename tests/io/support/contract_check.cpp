#include "tests/io/support/contract_check.hpp"

#include <algorithm>

namespace stillrotor::io::test {

std::vector<std::string> broken_rules(const ScriptedMotor& motor,
                                      const SimulatedController& controller,
                                      Time longest_instruction) {
  std::vector<std::string> broken;
  const auto report = [&](Time at, const char* what) {
    if (broken.size() < 20) broken.push_back(std::to_string(at.count()) + " ps: " + what);
  };
  Time previous_edge{}, begin{};
  for (const ScriptedMotor::Turn& turn : motor.turns) {
    if (turn.reached > turn.horizon + longest_instruction)
      report(turn.reached, "ran more than an instruction past the horizon");
    if (turn.edges == 0 && turn.reached < turn.horizon)
      report(turn.reached, "returned before the horizon without an edge");
    if (turn.reached < begin) report(turn.reached, "went back in time");
    for (std::size_t k = turn.first_edge; k < turn.first_edge + turn.edges; ++k) {
      const Edge& edge = motor.gate_edges[k];
      if (edge.at < previous_edge) report(edge.at, "an edge before its predecessor");
      if (edge.at < begin) report(edge.at, "an edge before the time already reached");
      if (edge.at > turn.reached) report(edge.at, "an edge after the time reached");
      if (edge.at != motor.gate_edges[turn.first_edge].at)
        report(edge.at, "went on after its first edge");
      if (!from_controller(edge.line)) report(edge.at, "drove a line of the bench");
      previous_edge = edge.at;
    }
    begin = std::max(begin, turn.reached);
  }
  const bool running = controller.health() == Health::running;
  if (running && !controller.diagnosis().empty()) report(begin, "runs, yet says why it does not");
  if (!running && controller.diagnosis().empty())
    report(begin, "does not run and does not say why");
  return broken;
}

}  // namespace stillrotor::io::test
