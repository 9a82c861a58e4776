// Current control on the rotor's axes, and the legs' duties for a voltage.
// v_d = R i_d + L_d di_d/dt - w L_q i_q;  v_q = R i_q + L_q di_q/dt + w (L_d i_d + psi).
#pragma once

struct axes {
  float d, q;
};

void current_reset(void);
/// Voltage for the next period, at most limit_V long.
struct axes current_step(struct axes wanted_A, struct axes measured_A, float omega, float limit_V);
/// Length that the last step would have liked.
float current_demand_V(void);
/// The share of the length on d that gives most torque per ampere.
struct axes most_torque(float length_A);

/// Of a voltage on the stator's axes; the common part centres the three between the rails, which
/// too much of it exceeds.
void duties_for(float alpha_V, float beta_V, float bus_V, float duty[3]);
