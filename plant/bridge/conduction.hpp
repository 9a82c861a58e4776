// Conduction modes of the bridge: three leg laws summed into alpha-beta, once, at set-up.
//   v = u * v_dc + e - r i   (alpha-beta, r symmetric), i_dc = 1.5 u . i + v_dc * shoot_S.
// One leg out of three without conduction leaves the current one direction d; two or three leave
// none. RT: lookup is O(1).
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "plant/bridge/bridge.hpp"
#include "plant/frames.hpp"
#include "plant/pair.hpp"

namespace stillrotor::plant {

/// v = s v_dc + e - r i, while way * i > beyond_A (way 0: whatever the current).
struct LegLaw {
  double s = 0.0, e_V = 0.0, r_ohm = 0.0;
  double way = 0.0, beyond_A = 0.0;
  bool one_way = false;   // nothing else takes over beyond: the current ends there, at zero
  double across_S = 0.0;  // across the bus beside it
};
LegLaw leg_law(Conduction, const BridgeParameters&) noexcept;

/// Heat in a conducting leg [W]; not what a short across the bus or a change of switches burns.
constexpr double conduction_heat_W(const LegLaw& law, double i_A) noexcept {
  return law.r_ohm * i_A * i_A - law.e_V * i_A;
}
/// Reverse current above which the diode beside a gated channel conducts; IGBT: none [A].
double sharing_A(const BridgeParameters&) noexcept;

constexpr bool is_grounded(Conduction c) noexcept { return c >= Conduction::grounded; }
constexpr bool conducts(Conduction c) noexcept {
  return c != Conduction::floating && c != Conduction::open && c != Conduction::open_shorted;
}
constexpr bool is_open(Conduction c) noexcept {
  return c == Conduction::open || c == Conduction::open_shorted;
}
constexpr bool shorts_the_bus(Conduction c) noexcept {
  return c == Conduction::shoot_through || c == Conduction::open_shorted ||
         c == Conduction::grounded_shoot_through;
}
constexpr bool swings(Conduction c) noexcept {
  return c == Conduction::swinging_down || c == Conduction::swinging_up;
}
constexpr bool on_low_side(Conduction c) noexcept {
  return c == Conduction::low_switch || c == Conduction::low_diode || c == Conduction::low_shared ||
         c == Conduction::grounded_low;
}
constexpr bool on_high_side(Conduction c) noexcept {
  return c == Conduction::high_switch || c == Conduction::high_diode ||
         c == Conduction::high_shared || c == Conduction::grounded_high;
}

/// Heat in a leg's switches and diodes [W], a short across the bus included; not what a change of
/// switches burns (DriveState::switching_J).
inline double leg_heat_W(Conduction c, const LegLaw& law, const BridgeParameters& b, double i_A,
                         double bus_V) noexcept {
  const double short_W = shorts_the_bus(c) ? 0.5 * bus_V * bus_V / b.switch_on_resistance_ohm : 0.0;
  return conduction_heat_W(law, i_A) + short_W;
}

/// What a leg's two gates offer: what carries current out of the leg, and what into it. The same:
/// any current may flow. Else, at zero current, the terminal floats between the two laws at i = 0.
struct LegChoice {
  Conduction out = Conduction::low_diode, into = Conduction::high_diode;
  constexpr bool both_ways() const noexcept { return out == into; }
};
/// high_low: bit 0 high switch, bit 1 low switch.
constexpr LegChoice leg_choice(std::size_t high_low, SwitchKind kind) noexcept {
  const bool one_way = kind == SwitchKind::igbt;
  switch (high_low & 3U) {
    case 1U:
      return {Conduction::high_switch, one_way ? Conduction::high_diode : Conduction::high_switch};
    case 2U:
      return {one_way ? Conduction::low_diode : Conduction::low_switch, Conduction::low_switch};
    case 3U:
      return {Conduction::shoot_through, Conduction::shoot_through};
    default:
      return {};
  }
}

/// Current of leg k = unit(k) . i_alphabeta.
inline constexpr std::array<AlphaBeta, 3> leg_axis{
    {{1.0, 0.0}, {-0.5, 0.5 * sqrt3}, {-0.5, -0.5 * sqrt3}}};

/// What a step has to reckon with: some leg has a knee; some leg has a resistance of its own.
enum class LegsDiffer : std::uint8_t { no, in_knees, in_ohms };

struct ConductionMode {
  alignas(Pair) double u_alpha = 0.0;  // bus share
  double u_beta = 0.0;
  alignas(Pair) double e_alpha_V = 0.0;  // knees
  double e_beta_V = 0.0;
  double r_aa_ohm = 0.0, r_ab_ohm = 0.0, r_bb_ohm = 0.0;  // legs only
  double mean_ohm = 0.0;                                  // of r_aa and r_bb
  // Tensors as complex numbers, x -> mean x + uneven conj(x): of r, and of u u^T.
  Pair uneven_ohm{}, u_uneven{};
  double u_mean = 0.0;
  double shoot_S = 0.0;                // conductance across the bus
  double d_alpha = 0.0, d_beta = 0.0;  // free direction, unit length (freedom 1)
  double step_max_s = 0.0;             // fastest time constant of the mode, a share of it
  std::int8_t freedom = 0;             // 2: all conduct; 1: one leg out; 0: no current can flow
  LegsDiffer legs = LegsDiffer::no;
  // By leg, two by two with one more that never matters.
  /// Watched: leg currents, each while way i > beyond_A; what carries any current has way 0.
  alignas(Pair) std::array<double, 4> way{}, beyond_A{};
  alignas(Pair) std::array<double, 4> leg_share{}, leg_V{}, leg_ohm{};  // s, e, r of its law
  bool floating = false;                                                // some terminal floats
  std::uint8_t swings = 0;                                              // bit k: leg k swings
};

/// Of sound legs.
constexpr int mode_index(Conduction u, Conduction v, Conduction w) noexcept {
  return (static_cast<int>(u) * sound_kinds + static_cast<int>(v)) * sound_kinds +
         static_cast<int>(w);
}

/// What decides the step of a mode beside the legs.
struct ModeSurroundings {
  double winding_resistance_ohm, inductance_min_H, step_max_s;
  double link_ohm;  // in series with the link's capacitance

  /// Most that stands in series with a winding: a leg, and 1.5 ESR |u|^2 of the link.
  double leg_ohm(const BridgeParameters& b) const noexcept {
    return std::max(b.switch_on_resistance_ohm, b.diode_resistance_ohm) + 2.0 / 3.0 * link_ohm;
  }
};

using ModeTable = std::array<ConductionMode, sound_kinds * sound_kinds * sound_kinds>;
using LegLaws = std::array<LegLaw, conduction_kinds>;  // by Conduction
/// Of a leg whose terminal is shorted through that resistance; with what its short takes from the
/// bus.
void ground_laws(LegLaws&, const BridgeParameters&, double ground_ohm) noexcept;
ConductionMode sum_legs(const std::array<Conduction, 3>&, const LegLaws&,
                        const ModeSurroundings&) noexcept;
void fill_modes(ModeTable&, const LegLaws&, const ModeSurroundings&) noexcept;

}  // namespace stillrotor::plant
