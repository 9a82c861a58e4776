// Conduction modes of the bridge: three leg laws summed into alpha-beta, once, at set-up.
//   v = u * v_dc + e - r i   (alpha-beta, r symmetric), i_dc = 1.5 u . i + v_dc * shoot_S.
// One leg out of three without conduction leaves the current one direction d; two or three leave
// none. RT: lookup is O(1).
#pragma once

#include <array>
#include <cstdint>

#include "plant/bridge/bridge.hpp"
#include "plant/frames.hpp"

namespace stillrotor::plant {

struct LegLaw {
  double s = 0.0, e_V = 0.0, r_ohm = 0.0;
};
LegLaw leg_law(Conduction, const BridgeParameters&) noexcept;

constexpr bool conducts(Conduction c) noexcept {
  return c != Conduction::floating && c != Conduction::open && c != Conduction::open_shorted;
}
/// What a leg's two gates ask for: bit 0 high switch, bit 1 low switch.
constexpr Conduction by_gates(std::size_t high_low) noexcept {
  constexpr Conduction asked[4] = {Conduction::floating, Conduction::high_switch,
                                   Conduction::low_switch, Conduction::shoot_through};
  return asked[high_low & 3U];
}
/// +1: the diode carries current out of the leg (low diode); -1: into the leg (high diode).
constexpr double diode_direction(Conduction c) noexcept {
  return c == Conduction::low_diode ? 1.0 : -1.0;
}
constexpr bool is_open(Conduction c) noexcept {
  return c == Conduction::open || c == Conduction::open_shorted;
}
constexpr bool shorts_the_bus(Conduction c) noexcept {
  return c == Conduction::shoot_through || c == Conduction::open_shorted;
}
constexpr bool is_diode(Conduction c) noexcept {
  return c == Conduction::low_diode || c == Conduction::high_diode;
}

/// Current of leg k = unit(k) . i_alphabeta.
inline constexpr std::array<AlphaBeta, 3> leg_axis{
    {{1.0, 0.0}, {-0.5, 0.5 * sqrt3}, {-0.5, -0.5 * sqrt3}}};

struct ConductionMode {
  double u_alpha = 0.0, u_beta = 0.0;                     // bus share
  double e_alpha_V = 0.0, e_beta_V = 0.0;                 // diode knees
  double r_aa_ohm = 0.0, r_ab_ohm = 0.0, r_bb_ohm = 0.0;  // legs only
  double shoot_S = 0.0;                                   // conductance across the bus
  double d_alpha = 0.0, d_beta = 0.0;                     // free direction, unit length (freedom 1)
  double step_max_s = 0.0;  // fastest time constant of the mode, a share of it
  std::int8_t freedom = 0;  // 2: all conduct; 1: one leg out; 0: no current can flow
  bool diodes = false;  // some leg conducts by its diode, or the legs are unlike for another reason
  // What to watch: currents that may reach zero (direction times leg_axis), terminals that float.
  std::array<AlphaBeta, 3> diode_axis{};
  std::int8_t diode_count = 0;
  bool floating = false;
};

constexpr int mode_index(Conduction u, Conduction v, Conduction w) noexcept {
  return (static_cast<int>(u) * conduction_kinds + static_cast<int>(v)) * conduction_kinds +
         static_cast<int>(w);
}

/// What decides the step of a mode beside the legs.
struct ModeSurroundings {
  double winding_resistance_ohm, inductance_min_H, step_max_s;
};

using ModeTable =
    std::array<ConductionMode, conduction_kinds * conduction_kinds * conduction_kinds>;
void fill_modes(ModeTable&, const BridgeParameters&, const ModeSurroundings&) noexcept;

}  // namespace stillrotor::plant
