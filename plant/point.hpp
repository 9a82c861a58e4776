// One point of the trajectory: what the integration carries from stage to stage.
// RT: plain data.
#pragma once

namespace stillrotor::plant {

inline constexpr int inner_states = 2;
inline constexpr int short_count = 2;

/// States beyond the fast path's: zero where nothing uses them. Integrated by the general step only
/// (Drive::Impl::step, plant/advance.cpp).
struct Extra {
  double inner[inner_states];   // of the machine: rotor flux, circulating current (machine/)
  double i_cable_A;             // out of the supply through its cable, where that has inductance
  double supply_inner;          // V, source voltage of a supply with loops (supply/)
  double twist_rad;             // of the shaft's spring, motor side ahead
  double omega_2_rad_s;         // of the second mass, on the motor's side of the gear
  double leg_swing_V[3];        // of each leg's terminal about half the bus, while it swings
  double short_A[short_count];  // in a short of the windings (faults/winding_short.hpp)
};

/// Angle as its value and carried cosine and sine. Units as in Continuous (drive.hpp).
struct Point {
  double i_alpha, i_beta, v_cap, omega, theta, cos_e, sin_e;
  Extra extra;    // left open by the fast steps, see Drive::Impl::step
  double legs_C;  // at a step's end: charge that went into the bridge's legs in it
};

}  // namespace stillrotor::plant
