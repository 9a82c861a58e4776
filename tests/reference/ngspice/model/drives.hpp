// The three drives that are held against ngspice. Gate edges are formulas of the time: speed is
// imposed, so the angle is known, and neither side's result moves an edge.
#pragma once

#include "tests/reference/ngspice/model/experiment.hpp"

namespace stillrotor::reference {

/// Sine PWM at 20 kHz with 1 us dead time, 200 Hz electrical, two turns; the reference leads the
/// rotor so far that some 20 A flow.
SpiceExperiment sine_pwm();

/// Six-step on a trapezoid, 150 Hz electrical, high switch chopped at 16 kHz, low switch steady,
/// third leg floating; diodes freewheel.
SpiceExperiment six_step();

/// All gates off at a speed where the line EMF is half above the bus: the machine charges the
/// battery through the diodes, brakes itself, and falls silent below the onset of rectification.
SpiceExperiment coast_down();

}  // namespace stillrotor::reference
