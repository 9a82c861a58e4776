// Current control on the rotor's axes: pole-zero gains, decoupling, a limit on the voltage vector.
//
// Machine  v_d = R i_d + L_d di_d/dt - w L_q i_q;  v_q = R i_q + L_q di_q/dt + w (L_d i_d + psi).
// Gains    K_p = 2 pi f L, K_i = 2 pi f R: the zero cancels the winding's pole, the closed loop is
// a
//          first-order lag of 1 / (2 pi f) as long as f stays well below the PWM frequency.
// Limit    the vector is shortened, its direction kept; the integrators follow back (anti-windup).
// Source   textbook (internal model control of a permanent-magnet machine), from memory.
// RT       safe, O(1); one square root where the limit acts.
#pragma once

#include "io/standin/transforms.hpp"

namespace stillrotor::io::standin {

struct WindingBelief {
  double resistance_ohm = 0.05, inductance_d_H = 150e-6, inductance_q_H = 150e-6;
  double flux_linkage_Wb = 12e-3;
};

class CurrentControl {
 public:
  CurrentControl(const WindingBelief&, double bandwidth_Hz, double period_s) noexcept;

  void reset() noexcept { integral_V_ = {}; }

  /// Voltage vector for the next period [V, rotor axes], at most limit_V long.
  Vector step(Vector wanted_A, Vector measured_A, double omega_e_rad_s, double limit_V) noexcept;

  /// Length that the last step() would have liked [V].
  double demand_V() const noexcept { return demand_V_; }

 private:
  WindingBelief winding_;
  double gain_d_, gain_q_;      // V per A
  double integral_step_;        // V per A and period
  double follow_d_, follow_q_;  // share of the shortening that the integrators take, a period
  Vector integral_V_;
  double demand_V_ = 0.0;
};

/// Currents of the given length (signed: torque's sign) with most torque per ampere.
Vector most_torque_per_ampere(double length_A, const WindingBelief&) noexcept;

/// Legs' duties for a voltage vector on the stator: the common part is set so that the largest and
/// the smallest leg lie equally far from the middle, which reaches bus / sqrt 3 (space-vector
/// modulation). Values beyond 0 to 1 mean the bus is too low.
ThreePhases duties(Vector stator_V, double bus_V) noexcept;

}  // namespace stillrotor::io::standin
