// Heat paths of machine and power stage, from the figures of data sheets and heat runs.
//   machine      winding -> housing <- magnets; housing -> surroundings
//   power stage  junction of each leg -> heatsink; heatsink -> surroundings
// Every path is a thermal resistance, every body a heat capacity (C dT/dt = P - sum of flows). From
// junction to heatsink the data sheet's Foster pairs (r_i, tau_i) are taken as they stand: the rise
// of the junction over the heatsink is the sum over pairs of tau_i dx_i/dt = r_i P - x_i.
// Source: textbook (lumped thermal networks; Foster form of the transient thermal impedance), from
//   memory. Checked: first-order rise, steady state, energy balance (tests/reference).
// Units  K, W, J, K/W, J/K, s.  Valid  while one temperature stands for a body; magnets and rotor
// are one body, so are winding and end turns. RT: advance() is safe, O(1); temperatures live in the
// caller's state.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace stillrotor::plant {

enum class HeatNode : unsigned char { winding, magnet, housing, heatsink };
inline constexpr std::size_t heat_nodes = 4;
inline constexpr std::size_t foster_pairs_max = 4;

struct FosterPair {
  double resistance_K_per_W = 0.0;  // 0: unused
  double time_constant_s = 1e-3;    // > 0
};

struct ThermalParameters {
  bool fitted = false;        // false: every temperature stays where it starts
  double ambient_K = 298.15;  // of the surroundings, at the start
  double winding_capacity_J_per_K = 300.0, winding_to_housing_K_per_W = 0.5;
  double magnet_capacity_J_per_K = 300.0, magnet_to_housing_K_per_W = 2.0;
  double housing_capacity_J_per_K = 2000.0, housing_to_ambient_K_per_W = 0.8;
  double heatsink_capacity_J_per_K = 250.0, heatsink_to_ambient_K_per_W = 0.8;
  std::array<FosterPair, foster_pairs_max> junction{{{0.5, 20e-3}}};
};

/// In DriveState.
struct ThermalState {
  double ambient_K = 298.15;
  std::array<double, heat_nodes> node_K{298.15, 298.15, 298.15, 298.15};
  std::array<std::array<double, foster_pairs_max>, 3> rise_K{};  // by leg and pair

  double at(HeatNode n) const noexcept { return node_K[static_cast<std::size_t>(n)]; }
  double junction_K(std::size_t leg) const noexcept {
    double sum = at(HeatNode::heatsink);
    for (double rise : rise_K[leg]) sum += rise;
    return sum;
  }
};

/// Heat that went into each body since last asked [J].
struct HeatInput {
  double winding_J = 0.0, magnet_J = 0.0, housing_J = 0.0;
  std::array<double, 3> leg_J{};
};

/// In DriveState: the bodies, and what has gone into them since the last tick.
struct Warming {
  ThermalState bodies;
  HeatInput heat;
  std::array<double, 3> switching_before_J{};
  std::int64_t next_ps = INT64_MAX;
};

class ThermalNetwork {
 public:
  /// tick_s: how often advance() is called, 0.1 ms to 10 ms.
  /// Throws std::invalid_argument naming a parameter that is not above zero, or a body that would
  /// change faster than twenty ticks.
  ThermalNetwork(const ThermalParameters&, double tick_s);

  ThermalState at_rest() const noexcept;  // everything at the surroundings' temperature
  /// One tick with this heat, spread evenly over it. Exact for the Foster pairs; classical RK4 for
  /// the bodies: with twenty ticks to a time constant (1/20)^5 / 120 = 3e-9 of a transient a tick.
  void advance(ThermalState&, const HeatInput&) const noexcept;
  /// Heat that left to the surroundings per second at present [W].
  double to_ambient_W(const ThermalState&) const noexcept;
  /// Heat stored in the bodies above the surroundings' temperature [J], Foster pairs left out.
  double stored_J(const ThermalState&) const noexcept;

 private:
  using Nodes = std::array<double, heat_nodes>;
  Nodes rates(const Nodes&, const Nodes& power_W, double ambient_K) const noexcept;

  ThermalParameters p_;
  double tick_s_;
  Nodes capacity_inverse_;
  double winding_S_, magnet_S_, housing_S_, heatsink_S_;  // W/K
  std::array<double, foster_pairs_max> kept_{};           // exp(-tick / tau)
};

}  // namespace stillrotor::plant
