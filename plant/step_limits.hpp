// How long a step may be for the sake of the shaft, and drives that are too quick to be computed.
// What windings, link and cable allow: bridge/conduction.hpp, supply/bus_law.hpp, Machine.
// Units  s, rad (electrical).  Source  derived.  RT: set-up only, the last throws.
#pragma once

#include <vector>

#include "plant/machine/machine.hpp"
#include "plant/shaft/shaft_law.hpp"
#include "plant/time_constant.hpp"

namespace stillrotor::plant {

struct DriveParameters;

/// An eighth of what friction and the drag of iron losses near standstill, at twice the magnets'
/// flux, take to stop the rotor, J / B, and of what speed and current take to become each other,
/// sqrt(L J / 1.5) / (p psi); the latter not of an induction machine, whose flux is not known
/// beforehand.
double longest_shaft_step_s(const ShaftLaw&, const Machine&);

/// What the machine's equations allow, less with more saliency than machines are built with, where
/// the linkage of one axis is many times what the other's current goes by; and an eighth of the
/// time in which drag by the speed's square takes that speed down, J / (2 k omega): with more than
/// a drive has an angle, too.
double longest_turn_rad(const ShaftLaw&, const Machine&);

/// Of supply, windings and shaft, in that order, with all that is written in the bench closed and
/// fed: what steps follow at least. leg_ohm: ModeSurroundings::leg_ohm().
std::vector<TimeConstant> time_constants(const DriveParameters&, const Machine&, const ShaftLaw&,
                                         double supply_ohm, double leg_ohm);

/// Where one of them is below 20 ns a second of the model takes minutes, and where a unit's prefix
/// was lost, days. Throws std::invalid_argument naming the parameter and the value that would do.
void refuse_endless_steps(const std::vector<TimeConstant>&);

}  // namespace stillrotor::plant
