// Settings of the built-in reference controllers. Gains and scalings are the controller's own
// belief about the bench; the bench loader fills in the truth unless the file says otherwise.
#pragma once

namespace stillrotor::io {

/// What the controller believes about what it is wired to.
struct StandinScaling {
  double supply_V = 5.0;               // runs above 80 % of it
  double current_gain_V_per_A = 0.02;  // signed: volts per ampere of current INTO the machine
  double current_offset_V = 2.5;  // used until the zero-current reading at power-up replaces it
  bool low_side_shunts = true;    // currents are valid only while the low switches are on
  double bus_ratio = 0.05;        // volts at the pin per volt of the bus
  double throttle_zero_V = 0.9, throttle_full_V = 4.0;
  double throttle_low_fault_V = 0.3, throttle_high_fault_V = 4.6;
  bool closes_contactor = false;                   // at key-on, once the link is charged
  double chopper_on_V = 0.0, chopper_off_V = 0.0;  // of the bus; 0: no chopper to run
};

/// Six-step commutation by three Halls, PWM on the high side, low side of the other leg on.
struct SixStepConfig {
  StandinScaling scaling;
  double pwm_frequency_Hz = 16e3;
  double dead_time_s = 1e-6;
  double current_limit_A = 60.0;  // cycle-by-cycle duty reduction from the sampled current
  double duty_ramp_per_s = 4.0;
  double hall_spacing_deg = 120.0;
  unsigned char hall_permutation = 0;  // 0: as wired; 1..5: the other orders of U, V, W
  bool hall_inverted = false;
};

/// Field-oriented control: current control in dq by encoder, space-vector PWM, dead time.
/// Starts on the Hall sectors where Halls are fitted; the encoder refines the angle from the first
/// Hall edge or index pulse on. Throttle is a torque (i_q) request; i_d follows most torque per
/// ampere.
struct FieldOrientedConfig {
  StandinScaling scaling;
  double pwm_frequency_Hz = 16e3;
  double dead_time_s = 1e-6;
  double current_limit_A = 60.0;   // of the current vector's length
  double regen_limit_A = 20.0;     // i_q of the electric brake
  double current_loop_Hz = 500.0;  // bandwidth
  double torque_ramp_A_per_s = 400.0;
  double limited_speed_rad_s = 0.0;  // mechanical, while speed_limit is on; 0: it means nothing
  // the machine as the controller believes it
  int pole_pairs = 4;
  double winding_resistance_ohm = 0.05, inductance_d_H = 150e-6, inductance_q_H = 150e-6;
  double flux_linkage_Wb = 12e-3;
  int encoder_lines = 256;
  double encoder_index_rad = 0.0;  // mechanical angle of the index
  bool has_hall = true;
  bool dead_time_compensation = true;
};

/// Voltage in proportion to frequency, open loop, for an induction machine: no position, no speed.
/// Throttle is the frequency asked for. Voltages are of the fundamental, line to line, rms.
struct VoltsPerHertzConfig {
  StandinScaling scaling;
  double pwm_frequency_Hz = 16e3;
  double dead_time_s = 1e-6;
  double current_limit_A = 60.0;    // of the current vector's length; the frequency yields to it
  double base_frequency_Hz = 50.0;  // the voltage reaches base_voltage here, and stays
  double base_voltage_V = 28.0;
  double boost_voltage_V = 1.4;  // at standstill, from there in a straight line to base_voltage
  double top_frequency_Hz = 50.0;
  double acceleration_Hz_per_s = 25.0, deceleration_Hz_per_s = 25.0;
  bool dead_time_compensation = true;
};

}  // namespace stillrotor::io
