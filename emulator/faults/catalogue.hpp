// Every fault that there is, each in the file of its name.
#pragma once

#include "emulator/faults/fault.hpp"

namespace stillrotor {

// gates' wires
extern const Fault gate_line_open, gate_line_stuck;
// bridge
extern const Fault switch_open, switch_short, shoot_through, bootstrap_lost, gate_skew;
// cables and machine
extern const Fault phase_open, bad_joint;
// sensors
extern const Fault hall_line_open, hall_line_stuck, hall_line_inverted, hall_line_glitching,
    hall_lines_swapped, hall_displaced, hall_supply_lost;
extern const Fault angle_sensor_error;

}  // namespace stillrotor
