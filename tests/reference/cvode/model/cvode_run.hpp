// CVODE (variable order Adams) on the phase-coordinate circuit, restarted at every edge and event.
// Events are located on CVODE's own dense output by bisection, and the solver is restarted on the
// violated side. Its built-in root finder is not used: when two diode currents vanish together, or
// a diode has just begun at zero current, it finds the same root again and again.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>

#include "tests/reference/cvode/model/abc_circuit.hpp"

namespace stillrotor::reference {

struct CvodeTolerance {
  double relative = 1e-11, absolute = 1e-11;
};

/// A stretch of the solution without an event, from and to in seconds after since_ps.
struct Stretch {
  std::int64_t since_ps;
  double from_s, to_s;
  bool goes_on;                        // begins as the one before it ended, nothing has changed
  std::function<AbcState(double)> at;  // between the two
  const AbcCircuit& circuit;
  const AbcInputs& inputs;
  const AbcModes& modes;
};

class CvodeRun {
 public:
  CvodeRun(const plant::DriveParameters&, const AbcState& start, const AbcInputs&,
           CvodeTolerance = {});
  ~CvodeRun();

  AbcInputs& inputs() {
    changed_ = true;
    return inputs_;
  }
  /// Integrates to this time; inputs act from the last time on. Throws std::runtime_error when the
  /// solver fails, when no conduction state is consistent or when events do not end.
  void advance_to(std::int64_t until_ps);

  /// A switch is asked for, or no longer, at this moment; or fails.
  void gate(std::size_t which, bool on);
  void set_faults(const SwitchFaults&);
  const SwitchFaults& faults() const { return faults_; }
  /// A conductor parts at this moment.
  void cut(std::size_t leg);
  void change_machine(const MachineState&);
  void short_turns(std::size_t winding, double share, double ohm) {
    changed_ = true;
    circuit_.short_turns(state_, inputs_, winding, share, ohm);
  }
  void set_ground(const GroundShort&);
  void end_short(bool of_turns);
  void set_freewheel(plant::FreewheelFault fault) {
    changed_ = true;
    circuit_.set_freewheel(state_, inputs_, fault);
  }

  /// From now on each stretch of the solution is shown in the order of time.
  void watch(std::function<void(const Stretch&)> watcher);

  const AbcState& state() const { return state_; }
  /// At this moment, as it goes on: conduction, rates, terminals to the negative rail.
  struct Now {
    AbcModes modes;
    AbcRates rates;
    std::array<double, 3> terminal_V;
  };
  Now now() const;
  /// Heat of each leg's changes of gates so far.
  const std::array<double, 3>& switching_J() const { return switching_J_; }
  std::array<double, 3> lines_A() const { return circuit_.lines(state_, inputs_); }
  long events() const { return events_; }

 private:
  struct Solver;
  void act();  // on what is asked and broken
  std::array<bool, plant::switch_count> asked_ = {};
  SwitchFaults faults_;
  AbcCircuit circuit_;
  AbcState state_;
  AbcInputs inputs_;
  std::int64_t now_ps_ = 0;
  double local_s_ = 0.0;  // since the solver's latest start but for events
  bool changed_ = true;   // the solver has to start anew
  long events_ = 0;
  std::array<double, 3> switching_J_ = {};
  std::unique_ptr<Solver> solver_;
};

}  // namespace stillrotor::reference
