// What stands at a run's connector.
#pragma once

#include <memory>

#include "emulator/bench/bench.hpp"
#include "emulator/cycle/real_time.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/connector.hpp"
#include "io/wired.hpp"

namespace stillrotor {

/// What stands at the connector: simulated, on real wires, or simulated in the place of real wires
/// (both: the wires are then the run's).
class Tested {
 public:
  /// Throws io::ConfigError: it cannot be set up, or not on the wall clock.
  Tested(const Bench&, const Scenario&, bool on_wall_clock);

  /// nullptr: virtual time.
  io::WiredController* wired() const noexcept { return wired_.get(); }
  io::SimulatedController* simulated() const noexcept { return simulated_.get(); }

 private:
  MonotonicClock clock_;
  std::unique_ptr<io::SimulatedController> simulated_;
  std::unique_ptr<io::WiredController> wired_;
};

}  // namespace stillrotor
