// Every fault that there is, each in the file of its name.
#pragma once

#include "emulator/faults/fault.hpp"

namespace stillrotor {

// bridge and machine
extern const Fault phase_open, bad_joint;
// sensors
extern const Fault hall_line_open, hall_line_stuck, angle_sensor_error;

}  // namespace stillrotor
