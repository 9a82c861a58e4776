// The drive as a netlist. Written from the circuit, in phase quantities: six controlled
// conductances, six diodes, per phase R, L and a source for the back-EMF, the star point free.
//   diode   i = (v - V_f)/R_d above V_f, else nothing; rounded (knee_V = a > 0):
//           i = a/R_d ln(1 + exp((v - V_f)/a))
//   switch  a conductance that ramps within gate_ramp_s; the ramp lies where the switch conducts
//           anyway, so that the leg's potential moves at the edge: a switch that carries more than
//           a thousandth of its conductance conducts.
//   shaft   capacitors that integrate torque and speed; held: the angle is a formula of the time.
#pragma once

#include <string>

#include "tests/reference/ngspice/model/experiment.hpp"

namespace stillrotor::reference {

/// Throws std::invalid_argument for an experiment that the netlist cannot say.
std::string netlist(const SpiceExperiment&, const SpiceAccuracy&);

}  // namespace stillrotor::reference
