#include "emulator/cli/tested.hpp"

#include <fmt/format.h>

#include "emulator/cycle/simulated_wires.hpp"
#include "emulator/cycle/wired_controller.hpp"
#include "io/backends.hpp"

namespace stillrotor {

Tested::Tested(const Bench& bench, const Scenario& scenario, bool on_wall_clock)
    : wired_(make_wired_controller(bench, scenario.start.angle_rad)) {
  if (wired_) return;
  simulated_ = io::make_controller(bench.controller);
  if (!on_wall_clock) return;
  if (bench.backend != "standin")
    throw io::ConfigError("controller.backend",
                          fmt::format("backend is {}; allowed with --clock wall: standin, and "
                                      "controllers on real wires. Leave --clock out.",
                                      bench.backend));
  wired_ = std::make_unique<SimulatedWires>(*simulated_, bench.controller_supply_V, bench.harness,
                                            clock_);
}

}  // namespace stillrotor
