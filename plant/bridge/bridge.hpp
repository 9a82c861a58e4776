// Three-phase two-level bridge: six switches, each with its freewheel diode.
// Leg law v = s * v_dc + e - r * i: high switch (s 1, e 0, Ron), low switch (0, 0, Ron),
//   low diode (0, -Vf, Rd), high diode (1, +Vf, Rd), both switches on (1/2, 0, Ron/2) plus a
//   conductance 1/(2 Ron) across the bus; neither conducting: floating.
// Units V, A, ohm, s.  Sign i > 0 flows out of the leg into the machine.  Zero negative rail.
#pragma once

#include <cstdint>

namespace stillrotor::plant {

enum class Switch : unsigned char { UH, UL, VH, VL, WH, WL };
inline constexpr int switch_count = 6;

/// How a leg conducts. open: its terminal is disconnected from the machine (a fault); the leg still
/// stands across the bus, so with both switches on it shorts it (open_shorted).
enum class Conduction : std::uint8_t {
  floating,
  low_switch,
  high_switch,
  low_diode,
  high_diode,
  shoot_through,
  open,
  open_shorted
};
inline constexpr int conduction_kinds = 8;

struct BridgeParameters {
  double switch_on_resistance_ohm = 4e-3;  // > 0; the channel conducts both ways
  double diode_voltage_V = 0.8;            // >= 0, knee
  double diode_resistance_ohm = 3e-3;      // > 0, slope above the knee
};

}  // namespace stillrotor::plant
