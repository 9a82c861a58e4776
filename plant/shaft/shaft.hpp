// One rigid shaft: rotor, and a cart coupled to it through a fixed gear.
// J_total domega/dt = T - B omega - k omega |omega| - T_c sign(omega) - T_load - T_slope -
// T_rolling sign(omega)
//   with J_total = inertia + mass (r/G)^2, T_slope = m g sin(atan(slope)) r/G and the rolling
//   resistance folded into the Coulomb term. At standstill Coulomb friction holds until the
//   applied torque exceeds it.
// Units kg m^2, Nm, rad/s, kg, m.  Sign positive torque drives positive speed; load torque and
// uphill slope oppose positive speed.
#pragma once

namespace stillrotor::plant {

struct ShaftParameters {
  double inertia_kg_m2 = 1e-3;                 // rotor and what turns with it, > 0
  double viscous_friction_Nm_s_per_rad = 0.0;  // >= 0
  double coulomb_friction_Nm = 0.0;            // >= 0
  double quadratic_drag_Nm_s2_per_rad2 = 0.0;  // air, fan, pump: torque over speed squared, >= 0
  double cart_mass_kg = 0.0;                   // >= 0; 0: no cart
  double wheel_radius_m = 0.25;                // > 0
  double gear_ratio = 1.0;                     // motor turns per wheel turn, > 0
  double rolling_resistance = 0.0;             // share of the weight, >= 0
};

}  // namespace stillrotor::plant
