// Sensors with all that they get wrong, and what happens to them in a run, by lot.
#pragma once

#include "tests/reference/benches/model/bench.hpp"
#include "tests/reference/cvode/model/draw.hpp"

namespace stillrotor::reference {

/// Which sensors the drive has; its motion must be drawn before: an encoder is as fine as a few
/// thousand counts in the run allow.
void draw_position_sensors(Bench&, Draw&);
void draw_analog_sensors(Bench&, Draw&);
/// What breaks or moves at the sensors, and the controller's clock of an absolute angle sensor.
void draw_happenings(Bench&, Draw&);

}  // namespace stillrotor::reference
