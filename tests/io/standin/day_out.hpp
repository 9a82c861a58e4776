// A controller on the scripted motor, brought to the point where tests begin.
#pragma once

#include <chrono>
#include <memory>

#include "io/standin/standin.hpp"
#include "tests/io/support/scripted_motor.hpp"

namespace stillrotor::io::test {

using std::chrono::milliseconds;

/// Power at 0, key at 20 ms, throttle left at rest: running from about 25 ms on.
struct DayOut {
  std::unique_ptr<SimulatedController> controller;
  ScriptedMotor motor;

  DayOut(std::unique_ptr<SimulatedController> c, const MotorScript& script)
      : controller(std::move(c)), motor(script) {
    motor.power(*controller, 5.0);
    run(milliseconds(20));
  }
  void run(Time length) { motor.run(*controller, motor.now() + length); }
  void key(bool on) { motor.set_line(line::key, on ? Level::high : Level::low); }
  void brake(bool on) { motor.set_line(line::brake, on ? Level::high : Level::low); }
  void start() {
    key(true);
    run(milliseconds(10));
  }
  /// Gate edges to high from `since` on.
  std::size_t turn_ons(Time since) const {
    std::size_t n = 0;
    for (const Edge& e : motor.gate_edges) n += e.at >= since && e.level == Level::high;
    return n;
  }
  /// The last moment at which a gate was on, from the edges; now() while one is on.
  Time gates_off_since() const {
    std::array<bool, gate_count> on{};
    Time at{};
    for (const Edge& e : motor.gate_edges) {
      on[index(e.line)] = e.level == Level::high;
      at = e.at;
    }
    for (const bool b : on)
      if (b) return motor.now();
    return at;
  }
};

}  // namespace stillrotor::io::test
