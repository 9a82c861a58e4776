// Every fault that there is, each in the file of its name.
#pragma once

#include "emulator/faults/fault.hpp"

namespace stillrotor {

// gates' wires
extern const Fault gate_line_open, gate_line_stuck;
// bridge
extern const Fault switch_open, switch_short, shoot_through, bootstrap_lost, gate_skew;
// cables and machine
extern const Fault phase_open, phase_phase_short, phase_ground_short, bad_joint, turn_short,
    demagnetised, over_temperature;
// sensors
extern const Fault hall_line_open, hall_line_stuck, hall_line_inverted, hall_line_glitching,
    hall_lines_swapped, hall_displaced, hall_supply_lost;
extern const Fault encoder_line_open, encoder_lines_swapped, encoder_counts_lost,
    encoder_index_missing, encoder_mount_slips;
extern const Fault sin_cos_degraded, angle_sensor_error, angle_frame_errors, angle_stuck;
extern const Fault current_sensor_offset, current_sensor_gain, current_sensor_drift,
    current_sensor_saturated, current_sensor_stuck, current_sensor_noisy, current_sensors_swapped;
extern const Fault bus_voltage_sensor_wrong, bus_voltage_sensor_stuck;
extern const Fault phase_voltage_sensor_wrong, phase_voltage_sensor_stuck;
extern const Fault temperature_sensor_open, temperature_sensor_short;
// the driver's hands and the controller's supply
extern const Fault throttle_wire_open, throttle_wire_short, throttle_ground_lifted;
extern const Fault brake_switch_stuck, key_bounces, controller_brown_out;
// supply
extern const Fault supply_weak, supply_sag, supply_ripple, supply_interrupted, supply_disconnected,
    contactor_opens, pre_charge_open;
// shaft
extern const Fault bearing_seized, rotor_locked, freewheel_failed, wheel_slip;

}  // namespace stillrotor
