// What the second writing of the drive computes with: state, inputs, conduction, rates.
// Units as named. Windings: star U, V, W; delta U-V, V-W, W-U.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <optional>

#include "plant/drive.hpp"
#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {

/// How far a mode may be violated before it changes: below any tolerance of the comparison.
inline constexpr double v_slack = 1e-9, i_slack = 1e-9;  // V, A

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
  double charge = 0.0;                          // of a battery, as a share of its capacity
  std::array<double, plant::branch_count> branch_V = {};  // of its branches
  double time_s = 0.0;
};
inline constexpr std::size_t abc_states = 20 + plant::branch_count;
using AbcNumbers = std::array<double, abc_states>;
inline AbcNumbers numbers(const AbcState& x) { return std::bit_cast<AbcNumbers>(x); }
inline AbcState state_of(const AbcNumbers& v) { return std::bit_cast<AbcState>(v); }

struct TurnsShort {
  bool there = false;
  std::size_t winding = 0;
  double share = 0.0, ohm = 0.0;
  double leak_H = 0.0;  // its own, beside what the coils bring; of the moment when it came
};
struct PhasesShort {
  bool there = false;
  std::size_t from = 0;  // terminal; to the next one
  double ohm = 0.0, henry = 0.0;
};

/// What drives the load side beside its torque.
struct Road {
  plant::Ramp slope, wind_m_s, pedal_Nm;  // rise over run; against the vehicle; mean, at the crank
};

struct GroundShort {
  bool there = false;
  std::size_t leg = 0;
  double ohm = 0.0;  // from its terminal to the negative rail
};
/// Beside what the gates are asked for.
struct SwitchFaults {
  std::array<bool, plant::switch_count> open = {}, shorted = {};  // both: open
  std::array<bool, 3> pulse = {};                                 // both of a leg conduct
};

/// What of the machine a run changes.
struct MachineState {
  double winding_K = 293.15, rotor_K = 293.15;
  double magnets_left = 1.0;  // share of their flux that nothing has taken for good
};

/// From the supply to the link.
struct Path {
  bool parted = false, bounced = false, contactor_open = false;
  double pre_charge_ohm = 0.0;  // beside the contactor; 0: none
  double more_ohm = 0.0;
  bool open() const { return parted || bounced || (contactor_open && pre_charge_ohm <= 0.0); }
  double ohm() const { return more_ohm + (contactor_open ? pre_charge_ohm : 0.0); }
};

struct AbcInputs {
  MachineState machine;
  std::optional<SoftIron> iron;  // of a magnet machine in star, in place of its inductances
  std::array<bool, plant::switch_count> gate = {};  // what conducts, faults included
  std::array<bool, 3> open = {};
  bool speed_held = false;
  double held_acceleration_rad_s2 = 0.0;  // of the held speed
  double load_Nm = 0.0, load_Nm_per_s = 0.0;
  Road road;
  plant::FreewheelFault freewheel = plant::FreewheelFault::none;
  Path path;
  bool chopper_gate = false;
  double supply_V_per_s = 0.0, ripple_V = 0.0, ripple_Hz = 0.0;  // on the set voltage, from 0 on
  std::array<double, 3> joint_ohm = {};                          // in series with the windings
  TurnsShort turns_short;
  PhasesShort phases_short;
  GroundShort ground;
};

/// *_shared: the switch's channel with its diode beside it, where the channel's drop exceeds the
/// knee.
enum class LegMode {
  floating,
  grounded_alone,  // neither switch on, its terminal on the negative rail through a resistance
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

/// How the shaft moves.
struct ShaftModes {
  int turn = 1, turn_2 = 1;  // sense in which a side slides, +1 or -1; 0: friction holds it
  bool apart = false;        // a freewheel is open
  bool gear_drives = true;   // the motor drives the load through the gear, or would brake it
};

struct AbcModes {
  std::array<LegMode, 3> leg = {LegMode::floating, LegMode::floating, LegMode::floating};
  SupplyMode supply = SupplyMode::linear;
  bool bus_diodes = false;  // those across the bus conduct: it stands below zero
  bool chopper = false;     // its switch is on
  ShaftModes shaft;
};

/// Everything that follows from state, inputs and modes at one instant.
struct AbcRates {
  AbcState state;  // per second
  std::array<double, 3> line_A_s = {}, terminal_V = {};
  double bus_V = 0.0, supply_A = 0.0, asked_A = 0.0, limit_A = 0.0;
  double bridge_A = 0.0;       // into the legs, with what flows across the bus through them
  double loops_apart_V = 0.0;  // a regulated supply's: current loop over voltage loop
  double machine_Nm = 0.0;     // with cogging, less the drag of iron losses
};

/// What turns into heat at one instant, changes of gates left out.
struct AbcHeat {
  double winding_W = 0.0, cage_W = 0.0, iron_W = 0.0;  // what shorts burn is the windings'
  std::array<double, 3> leg_W = {};
};

}  // namespace stillrotor::reference
