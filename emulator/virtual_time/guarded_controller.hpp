// The controller under test with its power switch and a guard: one that crashes, hangs or comes to
// its end lets go of the gates, and the run goes on without it, so that the record shows what the
// machine then does. Switching its supply off and on starts it anew.
// Time  ps since the start of the run.
#pragma once

#include <cstdint>
#include <string>

#include "emulator/virtual_time/controller_stop.hpp"
#include "emulator/virtual_time/world.hpp"
#include "io/connector.hpp"

namespace stillrotor {

class GuardedController {
 public:
  GuardedController(io::SimulatedController& controller, BenchWorld& world)
      : controller_(controller), world_(world) {}

  /// Switches on where the scenario starts with the key on. Throws what the controller throws.
  void begin();

  /// Powered and running: it has to be given its turns.
  bool alive() const noexcept { return alive_; }
  /// How far it has come; the plant may be behind or, while it is not alive, ahead.
  std::int64_t reached_ps() const noexcept { return reached_ps_; }

  void run_to(std::int64_t horizon_ps) noexcept;
  void skip_to(std::int64_t t_ps) noexcept { reached_ps_ = std::max(reached_ps_, t_ps); }
  /// Hands over what the world has for it: supply, then edges.
  void exchange() noexcept;

  std::uint32_t hears_later() const noexcept { return alive_ ? controller_.hears_later() : 0; }

  /// The first thing that stopped it in this run; running: nothing did.
  io::Health health() const noexcept { return health_; }
  const std::string& diagnosis() const noexcept { return diagnosis_; }

 private:
  void switch_supply(double volts);
  void stop(io::Health, std::string why) noexcept;

  io::SimulatedController& controller_;
  BenchWorld& world_;
  bool alive_ = false;
  std::int64_t reached_ps_ = 0;
  std::int64_t powered_ps_ = -1;
  Standstill standstill_;
  io::Health health_ = io::Health::running;
  std::string diagnosis_;
};

}  // namespace stillrotor
