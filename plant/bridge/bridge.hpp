// Three-phase two-level bridge: six switches, each with its freewheel diode.
// Leg law v = s * v_dc + e - r * i (s, e, r below); neither side conducting: floating.
//   MOSFET  the channel conducts both ways: high (1, 0, Ron), low (0, 0, Ron). In reverse, above
//           Vf / Ron, the diode beside it shares: low (0, -Vf Ron/(Ron + Rd), Ron Rd/(Ron + Rd)).
//   IGBT    conducts one way, above a knee: high (1, -Vk, Ron) for i > 0, low (0, +Vk, Ron) for
//           i < 0; the other way only its diode does, so a gated leg may rest at zero current.
//   diodes  low (0, -Vf, Rd) for i > 0, high (1, +Vf, Rd) for i < 0.
//   both on (1/2, 0, Ron/2) plus a conductance 1/(2 Ron) across the bus; IGBT knees left out there.
//   both off with output capacitance: the leg swings, v = v_dc/2 + w, dw/dt = -i / (2 C_oss), until
//           a diode takes over, a switch turns on or the current ends; then it floats, its ringing
//           with the winding left out. C_oss is constant, and each of the two carries half of i.
//   bus     below zero it is held by each leg's diode with the switch that is on beside it, else by
//           two diodes in series (Drive::Impl::link_hold()).
// Source: textbook (device models, commutation of a leg), from memory; MOSFET sharing derived.
// Units V, A, ohm, s.  Sign i > 0 flows out of the leg into the machine.  Zero negative rail.
#pragma once

#include <cstdint>

namespace stillrotor::plant {

enum class Switch : unsigned char { UH, UL, VH, VL, WH, WL };
inline constexpr int switch_count = 6;

enum class SwitchKind : unsigned char { mosfet, igbt };

/// How a leg conducts. open: its terminal is disconnected from the machine (a fault); the leg still
/// stands across the bus, so with both switches on it shorts it (open_shorted).
enum class Conduction : std::uint8_t {
  floating,
  low_switch,
  high_switch,
  low_diode,
  high_diode,
  low_shared,  // channel and diode side by side
  high_shared,
  swinging_down,  // by its current out of the output capacitances
  swinging_up,
  shoot_through,
  open,
  open_shorted,
  // Of a leg whose terminal is shorted to the negative rail: faults/phase_ground_short.hpp
  grounded,
  grounded_low,
  grounded_high,
  grounded_shoot_through
};
inline constexpr int conduction_kinds = 16;
inline constexpr int sound_kinds = 12;  // the first ones, whose laws are fixed at set-up

/// Energy that one hard-switched event turns into heat, at at_V and at_A; in proportion to the
/// voltage that the switch sees and to the current. All 0: ideal switches.
/// on: a switch takes over current from the other side; recovery: of the diode that it takes it
/// from; off: a switch interrupts its forward current. What stands in C_oss is counted by itself.
struct SwitchingEnergies {
  double on_J = 0.0, off_J = 0.0, recovery_J = 0.0;  // >= 0
  double at_V = 48.0, at_A = 20.0;                   // > 0
};

struct BridgeParameters {
  double switch_on_resistance_ohm = 4e-3;  // > 0; IGBT: slope above its knee
  double diode_voltage_V = 0.8;            // >= 0, knee
  double diode_resistance_ohm = 3e-3;      // > 0, slope above the knee
  SwitchKind switch_kind = SwitchKind::mosfet;
  double switch_knee_V = 1.0;         // >= 0, IGBT only
  double output_capacitance_F = 0.0;  // >= 0, of each switch; 0: legs change over at once
  SwitchingEnergies switching{};
};

}  // namespace stillrotor::plant
