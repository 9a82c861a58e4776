#include "emulator/scenario/bench_needs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <variant>

namespace stillrotor {
namespace {

/// Highest voltage that a change of the supply's asks for.
double highest_V(const Action& action, double supply_V) {
  if (!action.shape) return action.value;
  double most = supply_V + action.shape->size;
  for (const ShapePoint& point : action.shape->points) most = std::max(most, point.value);
  return most;
}

}  // namespace

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

double chip_voltage_range_V(const plant::DriveParameters& drive,
                            const io::LinkConfig& config) noexcept {
  return config.voltage_range_V > 0.0 ? config.voltage_range_V : 1.4 * drive.supply.voltage_V;
}

std::string beyond_the_chip(const Action& action, const Bench& bench) {
  const auto* chip = std::get_if<io::LinkConfig>(&bench.controller);
  if (chip == nullptr) return {};
  if (action.kind == ActionKind::fault || action.kind == ActionKind::supply ||
      action.kind == ActionKind::driver_supply)
    return "would happen inside the co-processor, which has no such thing; allowed are throttle, "
           "key, brake, reverse, road, load and supply_voltage. Use a controller in virtual time "
           "for it.";
  const double range_V = chip_voltage_range_V(bench.drive, *chip);
  if (action.kind == ActionKind::supply_voltage &&
      highest_V(action, bench.drive.supply.voltage_V) > range_V)
    return fmt::format(
        "goes beyond the volts of the co-processor's numbers; allowed up to {:.4g} V. Widen "
        "controller.link.voltage_range.",
        range_V);
  return {};
}

}  // namespace stillrotor
