// What turns: rotor and motor side, a coupling, and the load side behind the gear.
//   J_1 domega/dt   = T - B omega - T_c sign(omega) - g T_x + T_dynamometer
//   J_2 domega_2/dt = T_x - T_load(omega_2) - T_r sign(omega_2)
// T_x is what the coupling passes on, everything on the motor's side of the gear; g = 1/eta while
// the motor drives, eta while the load does. A rigid coupling makes one mass of both. The laws and
// their sources: shaft_law.hpp.
// Units kg m^2, N m, rad/s, kg, m.  Sign positive torque drives positive speed; load torque, uphill
// slope and headwind oppose it, pedals help it.
// Reference weight m g for rolling resistance and tyre, whatever the slope (below 1 % off at 14 %).
#pragma once

namespace stillrotor::plant {

/// What stands between motor side and load side.
enum class Coupling : unsigned char {
  rigid,
  freewheel,  // one-way clutch: the load may run ahead, never behind
  elastic,    // spring and damper
  slipping    // a tyre: motor and wheel on one side, the vehicle on the other
};

/// A dynamometer from the start on, until told otherwise.
enum class Hold : unsigned char {
  none,
  start_speed,  // keeps the speed at which the run starts
  locked        // keeps the rotor at rest
};

struct ShaftParameters {
  double inertia_kg_m2 = 1e-3;                 // rotor and what turns with it, > 0
  double viscous_friction_Nm_s_per_rad = 0.0;  // motor side, >= 0
  double coulomb_friction_Nm = 0.0;            // motor side, >= 0
  double gear_ratio = 1.0;                     // motor turns per wheel turn, > 0
  double gear_efficiency = 1.0;                // above 0, to 1; either direction of power

  Coupling coupling = Coupling::rigid;
  double stiffness_Nm_per_rad = 1e3;        // elastic, > 0, at the motor shaft
  double torsion_damping_Nm_s_per_rad = 0;  // elastic, >= 0, at the motor shaft

  // load side
  double load_inertia_kg_m2 = 0.0;  // behind the gear (wheel, fan), on its own axle, >= 0
  double quadratic_drag_Nm_s2_per_rad2 = 0.0;  // fan, pump: torque over speed squared, motor shaft
  double constant_torque_Nm = 0.0;             // a hanging load, at the motor shaft; any sign
  double static_torque_Nm = 0.0;  // pump: static head behind a non-return valve; acts as friction
  double constant_power_W = 0.0;  // >= 0, above power_floor; below it torque falls to 0 with speed
  double power_floor_rad_s = 10.0;  // > 0, motor shaft

  // vehicle
  double cart_mass_kg = 0.0;         // >= 0; 0: no cart
  double wheel_radius_m = 0.25;      // > 0
  double rolling_resistance = 0.0;   // share of the weight, >= 0
  double drag_area_m2 = 0.0;         // drag coefficient times frontal area, >= 0
  double air_density_kg_m3 = 1.225;  // >= 0; 15 degrees Celsius at sea level, ISO 2533

  // tyre, with Coupling::slipping
  double driven_weight_share = 1.0;  // of the weight on the driven wheels, above 0 to 1
  double peak_friction = 0.8;        // > 0
  double slide_friction = 0.6;       // above 0, to peak_friction
  double peak_slip = 0.15;           // slip at the peak, > 0
  double slip_floor_m_s = 0.5;       // > 0; below it slip is taken relative to this speed

  // pedals, driving the wheel
  double pedal_ripple = 0.0;  // 0 to 1: torque swings by this share, twice a turn of the crank
  double pedal_gear = 1.0;    // wheel turns per turn of the crank, > 0

  // dynamometer
  Hold hold = Hold::none;
  double hold_gain_Nm_s_per_rad = 0.0;  // >= 0; 0: imposes speed whatever torque that takes
  double hold_torque_limit_Nm = 1e9;    // > 0, with a gain
};

/// What is broken. In DriveState.
enum class FreewheelFault : unsigned char { none, slips, locked };
struct ShaftFaults {
  double bearing_Nm = 0.0;  // friction on the motor side beside its own
  double grip_share = 1.0;  // of the tyre's
  FreewheelFault freewheel = FreewheelFault::none;
};

/// The road under the wheels: shares of ShaftParameters::rolling_resistance and of the tyre's grip,
/// both above 0. In DriveState.
struct RoadSurface {
  double rolling_share = 1.0;
  double grip_share = 1.0;  // Coupling::slipping only

  bool operator==(const RoadSurface&) const = default;
};

}  // namespace stillrotor::plant
