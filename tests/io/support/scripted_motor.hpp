// A motor for controllers' tests: constant speed, Halls and encoder computed from the angle, and a
// small R-L-EMF winding behind six switches. Written for the tests alone, it shares nothing with
// the program's own machine model.
//
// It is a World, records all that a controller does, and schedules the controller as the program
// does: up to the next edge of its own, at most look_ahead at a time, delivering edges in order.
// Units SI; angles of the machine electrical unless named mechanical; currents into the machine.
#pragma once

#include <array>
#include <functional>
#include <string>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io::test {

struct MotorScript {
  double omega_m_rad_s = 0.0;
  double theta_m_rad = 0.3;  // at time 0
  int pole_pairs = 4;
  double hall_spacing_deg = 120.0;
  int encoder_lines = 256;
  double encoder_index_rad = 0.0;
  double resistance_ohm = 0.05, inductance_H = 150e-6, flux_linkage_Wb = 12e-3;
  double bus_V = 48.0, bus_ratio = 0.05;
  double current_gain_V_per_A = 0.02, current_offset_V = 2.5;
  double rest_throttle_V = 0.85;
};

struct Words {
  Time at;
  std::string text;
};

class ScriptedMotor final : public World {
 public:
  explicit ScriptedMotor(const MotorScript&);

  // What a driver and a saboteur can do, at the present time.
  void set_line(LineId, Level);  // key, brake, reverse, or a sensor's line ...
  void free_line(LineId);        // ... until it follows the motor again
  void set_throttle(double volts) { throttle_V_ = volts; }
  void set_speed(double omega_m_rad_s);
  void set_bus(double volts) { script_.bus_V = volts; }

  /// Runs the controller (powered by power()) to `until`. Throws std::runtime_error when it lets no
  /// time pass in a thousand calls.
  void power(SimulatedController&, double volts);
  void run(SimulatedController&, Time until);
  Time look_ahead{100'000'000};

  // Where things stand.
  Time now() const { return now_; }
  double theta_e_rad(Time) const;
  double omega_e_rad_s() const { return script_.pole_pairs * script_.omega_m_rad_s; }
  std::array<double, 3> currents_A();
  /// On the magnet's axes {d, q} [A].
  std::array<double, 2> currents_dq_A();
  bool gate(LineId id) const { return gates_[index(id)] == Level::high; }
  bool all_gates(Level) const;

  // What the controller did.
  struct Turn {  // one call of run()
    Time horizon, reached;
    std::size_t first_edge, edges;  // of gate_edges
  };
  std::vector<Edge> gate_edges;
  std::vector<Words> words;
  std::vector<Turn> turns;
  std::vector<Edge> delivered;
  bool spoke(std::string_view part) const;
  /// Called after each turn, when its edges have been delivered.
  std::function<void()> probe;

  // World
  void drive(const Edge&) noexcept override;
  double volts(ChannelId, Time) noexcept override;
  Level level(LineId, Time) noexcept override;
  void text(Time, std::string_view) noexcept override;

 private:
  bool motor_level(std::size_t sensor_line, double theta_m_rad) const;
  double theta_m_rad(Time) const;
  Time next_motor_edge(Time after, Time limit) const;
  void deliver_up_to(SimulatedController&, Time);
  void advance_winding(Time);

  MotorScript script_;
  double throttle_V_;
  Time now_{};
  Time speed_since_{};
  std::array<Level, line_count> levels_{};  // as last delivered
  std::array<bool, line_count> forced_{};
  std::vector<LineId> changed_;  // set_line() and free_line() since the last delivery
  std::array<Level, gate_count> gates_{};
  std::array<double, 3> current_A_{};
  Time winding_at_{};
};

}  // namespace stillrotor::io::test
