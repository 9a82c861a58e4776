// What the second writing of the drive computes with: state, inputs, conduction, rates.
// Units as named. Windings: star U, V, W; delta U-V, V-W, W-U.
#pragma once

#include <array>
#include <bit>
#include <cstddef>

#include "plant/drive.hpp"

namespace stillrotor::reference {

/// How far a mode may be violated before it changes: below any tolerance of the comparison.
inline constexpr double v_slack = 1e-9, i_slack = 1e-9, w_slack = 1e-6;  // V, A, W

/// All that is integrated, and time. What a drive has not keeps its start.
struct AbcState {
  std::array<double, 3> winding_A = {0.0, 0.0, 0.0};
  std::array<double, 3> cage_A = {0.0, 0.0, 0.0};  // induction: the rotor's coils, referred
  double turns_short_A = 0.0;                      // in the short itself
  double phases_short_A = 0.0;                     // from its first terminal to its second
  double v_cap_V = 0.0, cable_A = 0.0;
  double source_V = 0.0;  // of a bench supply with loops of finite speed
  double omega_m_rad_s = 0.0, theta_e_rad = 0.0;
  double omega_2_rad_s = 0.0, twist_rad = 0.0;  // load side, on the motor's side of the gear
  std::array<double, 3> swing_V = {};           // of each leg's terminal about half the bus
  double time_s = 0.0;
};
inline constexpr std::size_t abc_states = 19;
using AbcNumbers = std::array<double, abc_states>;
inline AbcNumbers numbers(const AbcState& x) { return std::bit_cast<AbcNumbers>(x); }
inline AbcState state_of(const AbcNumbers& v) { return std::bit_cast<AbcState>(v); }

struct TurnsShort {
  bool there = false;
  std::size_t winding = 0;
  double share = 0.0, ohm = 0.0;
};
struct PhasesShort {
  bool there = false;
  std::size_t from = 0;  // terminal; to the next one
  double ohm = 0.0, henry = 0.0;
};

struct AbcInputs {
  std::array<bool, plant::switch_count> gate = {};
  std::array<bool, 3> open = {};
  bool speed_held = false;
  double held_acceleration_rad_s2 = 0.0;  // of the held speed
  double load_Nm = 0.0, load_Nm_per_s = 0.0;
  bool supply_open = false, chopper_gate = false;
  double supply_V_per_s = 0.0, ripple_V = 0.0, ripple_Hz = 0.0;  // on the set voltage, from 0 on
  std::array<double, 3> joint_ohm = {};                          // in series with the windings
  TurnsShort turns_short;
  PhasesShort phases_short;
  // By temperature, of what the parameters say: stator's and cage's resistance, magnets' flux.
  double copper = 1.0, cage_copper = 1.0, magnet = 1.0;
};

/// *_shared: the switch's channel with its diode beside it, where the channel's drop exceeds the
/// knee.
enum class LegMode {
  floating,
  low_switch,
  high_switch,
  low_diode,
  high_diode,
  both_switches,
  low_shared,
  high_shared,
  swinging_down,  // out of the output capacitances, by a current out of the leg; up: into it
  swinging_up
};
/// linear: by its resistance (the voltage loop rules); limited: by its limit (the current loop
/// does).
enum class SupplyMode { linear, limited, blocked, open };

struct AbcModes {
  std::array<LegMode, 3> leg = {LegMode::floating, LegMode::floating, LegMode::floating};
  SupplyMode supply = SupplyMode::linear;
  bool bus_diodes = false;  // those across the bus conduct: it stands below zero
  bool chopper = false;     // its switch is on
  bool gear_drives = true;  // the motor drives the load through the gear
};

/// Everything that follows from state, inputs and modes at one instant.
struct AbcRates {
  AbcState state;  // per second
  std::array<double, 3> line_A_s = {}, terminal_V = {};
  double bus_V = 0.0, supply_A = 0.0, asked_A = 0.0, limit_A = 0.0;
  double bridge_A = 0.0;       // into the legs, with what flows across the bus through them
  double loops_apart_V = 0.0;  // a regulated supply's: current loop over voltage loop
  double through_W = 0.0;      // what the gear passes on
};

/// What turns into heat at one instant, changes of gates left out.
struct AbcHeat {
  double winding_W = 0.0, cage_W = 0.0, iron_W = 0.0;  // what shorts burn is the windings'
  std::array<double, 3> leg_W = {};
};

}  // namespace stillrotor::reference
