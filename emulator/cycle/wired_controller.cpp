#include "emulator/cycle/wired_controller.hpp"

#include <variant>

#include "emulator/partition/link_settings.hpp"

namespace stillrotor {

io::ControllerConfig completed_controller(const Bench& bench, double theta_m_rad) {
  io::ControllerConfig controller = bench.controller;
  if (auto* link = std::get_if<io::LinkConfig>(&controller))
    link->settings = link_settings(bench, *link, theta_m_rad);
  return controller;
}

std::unique_ptr<io::WiredController> make_wired_controller(const Bench& bench, double theta_m_rad) {
  return io::make_wired_controller(completed_controller(bench, theta_m_rad), bench.analog);
}

void require_possible(const Bench& bench, const Scenario& scenario) {
  require_outside_the_chip(bench, scenario);
}

}  // namespace stillrotor
