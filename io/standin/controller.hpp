// The life that all built-in controllers share: supply, zero-current reading, key, throttle at
// rest, bootstrap charging, running, stopping. Control itself is the derived class's.
//
//   zeroing -> wait_for_key (-> pre_charge -> closing) -> wait_for_rest -> bootstrap -> running
//                   ^---- key off, from anywhere ----'                `-> stopped (until key off)
//
// In brackets: where it closes a contactor. A brake chopper is run all the time.
//
// Time   reacts to a line's edge at the very moment of the edge; a real one takes microseconds.
// Input  a released (floating) line reads low.
// RT     run() and deliver() neither allocate nor throw nor lock.
#pragma once

#include <array>

#include "io/connector.hpp"
#include "io/modulator.hpp"
#include "io/standin/supply_lines.hpp"
#include "io/standin/throttle.hpp"

namespace stillrotor::io::standin {

class Controller : public SimulatedController {
 public:
  void power(double volts, Time, World&) final;
  Time run(Time horizon) noexcept final;
  void deliver(const Edge&) noexcept final;
  Health health() const noexcept final { return Health::running; }
  std::string_view diagnosis() const noexcept final { return {}; }

 protected:
  Controller(const StandinScaling&, double pwm_frequency_Hz, double dead_time_s) noexcept;

  /// The supply came up: sensor lines may be read.
  virtual void awake() noexcept = 0;
  /// Bootstrap is over: control begins. Legs are off.
  virtual void begin() noexcept = 0;
  /// Once a PWM period while running, in the middle of the low switches' on-time.
  virtual void control() noexcept = 0;
  /// A sensor's line moved (any time while powered).
  virtual void sensor_edge(const Edge&) noexcept = 0;
  /// After all edges of an instant, while running: act on them now.
  virtual void react() noexcept = 0;
  /// The shaft stands nearly still: the direction may change.
  virtual bool near_standstill() const noexcept = 0;

  /// Takes in the edges that it hears later; now_ is then the world's present.
  void hear() noexcept {
    for (const Edge& edge : world_->heard(now_)) deliver(edge);
  }

  Time now() const noexcept { return now_; }
  bool line_high(LineId id) const noexcept { return levels_[index(id)]; }
  double volts(ChannelId) noexcept;
  double bus_V() noexcept;
  /// Into the machine [A]; leg 0..2.
  double phase_current_A(int leg) noexcept;
  bool has_current_sense() const noexcept { return has_current_sense_; }
  bool brake() const noexcept { return line_high(line::brake); }
  double throttle() const noexcept { return throttle_.request(); }
  bool throttle_at_rest() const noexcept { return throttle_.request() < Throttle::rest; }
  int direction() const noexcept { return direction_; }

  Modulator& pwm() noexcept { return pwm_; }
  const StandinScaling& scaling() const noexcept { return scaling_; }
  void all_legs(LegMode) noexcept;
  /// react() is called before the next edge or period.
  void request_reaction() noexcept { reaction_due_ = true; }

  [[gnu::format(printf, 2, 3)]] void say(const char* format, ...) noexcept;
  /// Gates off and stopped until key off; says why.
  [[gnu::format(printf, 2, 3)]] void stop(const char* format, ...) noexcept;

 private:
  enum class Phase {
    unpowered,
    zeroing,
    wait_for_key,
    pre_charge,
    closing,
    wait_for_rest,
    bootstrap,
    running,
    stopped
  };
  void period_begins() noexcept;
  void read_slow_inputs() noexcept;
  void measure_zero_current() noexcept;
  void key_moved() noexcept;
  void enter(Phase) noexcept;
  void charge_link() noexcept;
  void wait_for_rest() noexcept;
  bool drive_supply_line() noexcept;
  void release_outputs() noexcept;

  StandinScaling scaling_;
  Modulator pwm_;
  Throttle throttle_;
  SupplyLines supply_;
  PreCharge pre_charge_;
  World* world_ = nullptr;
  Phase phase_ = Phase::unpowered;
  Time now_{}, next_period_{}, phase_ends_{};
  int periods_a_millisecond_, periods_to_slow_ = 0;
  std::array<bool, line_count> levels_{};
  bool reaction_due_ = false;
  int direction_ = 1;
  bool has_current_sense_ = true;
  int zero_readings_ = 0;
  std::array<double, 3> zero_sum_V_{}, offset_V_{};
};

}  // namespace stillrotor::io::standin
