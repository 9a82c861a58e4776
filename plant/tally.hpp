// What the steps of a stretch reach and sum up to. The plant itself enters steps in which nothing
// else is to be seen, so that watching every one of them costs no call each.
// Units  as named. RT: safe. O(1).
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "plant/frames.hpp"
#include "plant/pair.hpp"

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

/// Mean of the square of a straight line.
constexpr double mean_square(double a, double b) noexcept {
  constexpr double third = 1.0 / 3.0;
  return (a * a + a * b + b * b) * third;
}

/// Of these, what may jump where the conduction mode changes.
struct LinkProbe {
  double bus_V = 0.0, supply_A = 0.0, bridge_A = 0.0;
};

/// A Probe two by two, in the order of the tally's spread.
struct ProbePairs {
  Pair u_v{}, w_bus{}, supply_torque{};
  double bridge_A = 0.0;

  ProbePairs() = default;
  ProbePairs(Pair u_v_A, Pair w_bus_, Pair supply_torque_, double into_bridge_A) noexcept
      : u_v(u_v_A), w_bus(w_bus_), supply_torque(supply_torque_), bridge_A(into_bridge_A) {}
  explicit ProbePairs(const Probe& p) noexcept
      : u_v(pair(p.current_A.U, p.current_A.V)),
        w_bus(pair(p.current_A.W, p.bus_V)),
        supply_torque(pair(p.supply_A, p.torque_Nm)),
        bridge_A(p.bridge_A) {}
};

struct Tally {
  static constexpr std::uint32_t no_mode = 0xFFFFFFFF;
  /// A step that ends this close before an instant ends on it: instants are whole picoseconds,
  /// steps are double seconds.
  static constexpr double same_instant_s = 0.25e-12;
  enum : std::size_t { current_U, current_V, current_W, bus_V, supply_A, torque_Nm, spread_count };
  using Spread = std::array<double, spread_count>;

  std::int64_t until_ps = 0;  // a step that reaches this instant is for whoever keeps the tally
  alignas(Pair) Spread least{}, greatest{};  // over begins and ends of steps
  StepHeat heat;
  double length_s = 0.0;
  ProbePairs end;                          // at the latest step's end
  double i_alpha_A = 0.0, i_beta_A = 0.0;  // there, as the state has them
  std::uint32_t mode = no_mode;  // how bridge and supply conduct in that step, conduction_word()

  /// Nothing seen; what the latest step left stays, for the next one may continue it.
  void clear(std::int64_t next_until_ps) noexcept {
    until_ps = next_until_ps;
    least.fill(HUGE_VAL);
    greatest.fill(-HUGE_VAL);
    two_bridge_As_ = six_bridge_J_ = three_w_A2s_ = length_s = 0.0;
    two_supply_As_torque_Nm_s_ = three_u_v_A2s_ = both(0.0);
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

  // Integrals over the steps, each quantity a straight line in a step.
  double supply_As() const noexcept { return 0.5 * two_supply_As_torque_Nm_s_[0]; }
  double torque_Nm_s() const noexcept { return 0.5 * two_supply_As_torque_Nm_s_[1]; }
  double bridge_As() const noexcept { return 0.5 * two_bridge_As_; }
  double bridge_J() const noexcept { return six_bridge_J_ / 6.0; }
  std::array<double, 3> phase_A2s() const noexcept {
    return {three_u_v_A2s_[0] / 3.0, three_u_v_A2s_[1] / 3.0, three_w_A2s_ / 3.0};
  }

  [[gnu::always_inline]] void include(const ProbePairs& at) noexcept {
    include<current_U>(at.u_v);
    include<current_W>(at.w_bus);
    include<supply_A>(at.supply_torque);
  }
  void enter_link(const LinkProbe& at) noexcept {
    // Built anew: to store a half and load the whole makes the processor wait.
    end = {end.u_v, pair(end.w_bus[0], at.bus_V), pair(at.supply_A, end.supply_torque[1]),
           at.bridge_A};
    include<current_W>(end.w_bus);
    include<supply_A>(end.supply_torque);
  }
  /// Of the phase currents in a step: twice their means, three times those of their squares.
  struct Sums {
    Pair two_u_v, three_u_v;
    double two_w, three_w;
  };
  static Sums sums(Pair from_u_v, double from_w, Pair u_v, double w) noexcept {
    const Pair two_u_v = from_u_v + u_v;
    const double two_w = from_w + w;
    return {two_u_v, two_u_v * two_u_v - from_u_v * u_v, two_w, two_w * two_w - from_w * w};
  }
  /// A step, or a part of one, that ends here.
  void add(const ProbePairs& to, double step_s) noexcept {
    add(to, step_s, sums(end.u_v, end.w_bus[0], to.u_v, to.w_bus[0]));
  }
  /// Written out: a call from the plant's inner loop sends what lies in registers to memory and
  /// back.
  [[gnu::always_inline]] void add(const ProbePairs& to, double step_s, const Sums& sums) noexcept {
    include(to);
    const double from_V = end.w_bus[1], bus = to.w_bus[1];
    const double two_bridge_A = end.bridge_A + to.bridge_A;
    two_bridge_As_ += step_s * two_bridge_A;
    six_bridge_J_ +=
        step_s * ((from_V + bus) * two_bridge_A + (from_V * end.bridge_A + bus * to.bridge_A));
    two_supply_As_torque_Nm_s_ += both(step_s) * (end.supply_torque + to.supply_torque);
    three_u_v_A2s_ += both(step_s) * sums.three_u_v;
    three_w_A2s_ += step_s * sums.three_w;
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

 private:
  template <std::size_t First>
  void include(Pair two) noexcept {
    store(lesser(two, loaded(&least[First])), &least[First]);
    store(greater(two, loaded(&greatest[First])), &greatest[First]);
  }

  // Whole multiples of the integrals, so that no step divides by them.
  double two_bridge_As_ = 0.0, six_bridge_J_ = 0.0, three_w_A2s_ = 0.0;
  Pair two_supply_As_torque_Nm_s_{}, three_u_v_A2s_{};
};

}  // namespace stillrotor::plant
