#include "emulator/scenario/bench_needs.hpp"

namespace stillrotor {

bool wired(ActionKind kind, const Harness& harness) noexcept {
  const auto line = [&](io::LineId id) { return harness.lines[io::index(id)].connected; };
  switch (kind) {
    case ActionKind::throttle:
      return harness.channels[io::index(io::channel::throttle)] || line(io::line::command_pulse);
    case ActionKind::command_pulse:
      return line(io::line::command_pulse);
    case ActionKind::brake:
      return line(io::line::brake);
    case ActionKind::reverse:
      return line(io::line::reverse);
    case ActionKind::speed_limit:
      return line(io::line::speed_limit);
    default:
      return true;
  }
}

std::string_view missing_part(ActionKind kind, const Bench& bench) noexcept {
  const plant::ShaftParameters& load = bench.drive.shaft;
  const plant::GateDriverParameters& driver = bench.drive.gate_driver;
  switch (kind) {
    case ActionKind::wind:
      return load.drag_area_m2 > 0.0 ? "" : "load.drag_area";
    case ActionKind::pedal_torque:
      return load.cart_mass_kg > 0.0 ? "" : "load.cart_mass";
    case ActionKind::rolling_factor:
      return load.cart_mass_kg > 0.0 && load.rolling_resistance > 0.0 ? ""
                                                                      : "load.rolling_resistance";
    case ActionKind::grip_factor:
      return load.coupling == plant::Coupling::slipping ? "" : "load.coupling: slipping";
    case ActionKind::held_speed:
      return load.hold == plant::Hold::start_speed ? "" : "load.kind: dynamometer";
    case ActionKind::ambient:
      return bench.drive.thermal.fitted ? "" : "thermal";
    case ActionKind::driver_supply:
      return driver.undervoltage_V > 0.0 || driver.bootstrap.capacitance_F > 0.0
                 ? ""
                 : "bridge.driver.undervoltage or bridge.driver.bootstrap.capacitance";
    default:
      return "";
  }
}

bool inside_the_chip(ActionKind kind) noexcept {
  return kind == ActionKind::fault || kind == ActionKind::supply ||
         kind == ActionKind::driver_supply;
}

}  // namespace stillrotor
