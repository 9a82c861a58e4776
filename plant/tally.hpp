// What the steps of a stretch reach and sum up to. The plant itself enters steps in which nothing
// else is to be seen, so that watching every one of them costs no call each.
// Units  as named. RT: safe. O(1).
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "plant/frames.hpp"

namespace stillrotor::plant {

/// The few quantities that are worth looking at after every step; cheaper than a Snapshot.
struct Probe {
  Phases current_A;       // into the machine
  double bus_V = 0.0;     // at the bridge
  double supply_A = 0.0;  // out of the supply
  double bridge_A = 0.0;  // into the bridge, shoot-through included
  double torque_Nm = 0.0;
};

/// Energy that became heat over a step, by place [J]: stator windings (shorts of theirs included);
/// cage; iron; switches and diodes while they conduct, a short across the bus included; friction of
/// the shaft and what its gear, joint and tyre take. Changes of switches: DriveState::switching_J.
struct StepHeat {
  double winding_J = 0.0, rotor_J = 0.0, iron_J = 0.0, legs_J = 0.0, friction_J = 0.0;
};

/// Mean of the square of a straight line, and of the product of two.
constexpr double mean_square(double a, double b) noexcept { return (a * a + a * b + b * b) / 3.0; }
constexpr double mean_product(double a, double b, double c, double d) noexcept {
  return (2.0 * (a * c + b * d) + a * d + b * c) / 6.0;
}

/// Of these, what may jump where the conduction mode changes.
struct LinkProbe {
  double bus_V = 0.0, supply_A = 0.0, bridge_A = 0.0;
};

struct Tally {
  static constexpr std::uint32_t no_mode = 0xFFFFFFFF;
  /// A step that ends this close before an instant ends on it: instants are whole picoseconds,
  /// steps are double seconds.
  static constexpr double same_instant_s = 0.25e-12;
  enum : std::size_t { current_U, current_V, current_W, bus_V, supply_A, torque_Nm, spread_count };

  std::int64_t until_ps = 0;  // a step that reaches this instant is for whoever keeps the tally
  std::array<double, spread_count> least{}, greatest{};  // over begins and ends of steps
  // Integrals over the steps, each quantity a straight line in a step.
  double bridge_As = 0.0, supply_As = 0.0, torque_Nm_s = 0.0, bridge_J = 0.0;
  double phase_A2s[3] = {};
  StepHeat heat;
  double length_s = 0.0;
  Probe end;                               // at the latest step's end
  double i_alpha_A = 0.0, i_beta_A = 0.0;  // there, as the state has them
  std::uint32_t mode = no_mode;  // how bridge and supply conduct in that step, conduction_word()

  /// Nothing seen; what the latest step left stays, for the next one may continue it.
  void clear(std::int64_t next_until_ps) noexcept {
    until_ps = next_until_ps;
    least.fill(HUGE_VAL);
    greatest.fill(-HUGE_VAL);
    bridge_As = supply_As = torque_Nm_s = bridge_J = length_s = 0.0;
    for (double& one : phase_A2s) one = 0.0;
    heat = {};
  }
  double left_s(std::int64_t time_ps, double offset_s) const noexcept {
    return static_cast<double>(until_ps - time_ps) * 1e-12 - offset_s;
  }
  /// In one mode a step begins as the step before it ended; in a new one the link may have jumped.
  /// Currents, and torque with them, do not where a switch or a diode takes over.
  bool continues(double alpha_A, double beta_A) const noexcept {
    return mode != no_mode && alpha_A == i_alpha_A && beta_A == i_beta_A;
  }

  void include(std::size_t k, double value) noexcept {
    if (value < least[k]) least[k] = value;
    if (value > greatest[k]) greatest[k] = value;
  }
  void include(const Probe& at) noexcept {
    include(current_U, at.current_A.U);
    include(current_V, at.current_A.V);
    include(current_W, at.current_A.W);
    include(bus_V, at.bus_V);
    include(supply_A, at.supply_A);
    include(torque_Nm, at.torque_Nm);
  }
  void enter_link(const LinkProbe& at) noexcept {
    end.bus_V = at.bus_V;
    end.supply_A = at.supply_A;
    end.bridge_A = at.bridge_A;
    include(bus_V, at.bus_V);
    include(supply_A, at.supply_A);
  }
  /// A step, or a part of one, that ends here.
  void add(const Probe& to, double step_s) noexcept {
    include(to);
    bridge_As += 0.5 * (end.bridge_A + to.bridge_A) * step_s;
    supply_As += 0.5 * (end.supply_A + to.supply_A) * step_s;
    torque_Nm_s += 0.5 * (end.torque_Nm + to.torque_Nm) * step_s;
    bridge_J += mean_product(end.bus_V, to.bus_V, end.bridge_A, to.bridge_A) * step_s;
    phase_A2s[0] += mean_square(end.current_A.U, to.current_A.U) * step_s;
    phase_A2s[1] += mean_square(end.current_A.V, to.current_A.V) * step_s;
    phase_A2s[2] += mean_square(end.current_A.W, to.current_A.W) * step_s;
    length_s += step_s;
    end = to;
  }
  void warm(const StepHeat& more, double share = 1.0) noexcept {
    heat.winding_J += share * more.winding_J;
    heat.rotor_J += share * more.rotor_J;
    heat.iron_J += share * more.iron_J;
    heat.legs_J += share * more.legs_J;
    heat.friction_J += share * more.friction_J;
  }
  void end_at(double alpha_A, double beta_A) noexcept {
    i_alpha_A = alpha_A;
    i_beta_A = beta_A;
  }
};

}  // namespace stillrotor::plant
