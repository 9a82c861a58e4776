// From a bench to what the co-processor at the far end of the link is to run: bridge, winding, DC
// link, current sensors, trip, angle outputs (io/link/coprocessor). What its plant lacks is refused
// by the parameter's path, value and remedy; README.md lists what it leaves out and what is small.
// Units SI.  Errors InputError, all problems at once.
#pragma once

#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/scenario.hpp"
#include "io/connector.hpp"
#include "io/link/config.hpp"

namespace stillrotor {

/// config: the chip; its ranges may be 0, then they follow from the bench: currents a quarter above
/// the sensors' ends, volts two fifths above the supply's. theta_m_rad: where the scenario starts.
/// A converter channel that the fast plant has nothing for is told by Linux.
io::LinkSettings link_settings(const Bench&, const io::LinkConfig& config,
                               double theta_m_rad = 0.0);

/// Channels of the connector that the fast plant shows on this bench.
std::vector<io::ChannelId> fast_channels(const Bench&);

/// Refuses actions and faults that would have to happen inside the chip, beyond_the_chip().
void require_outside_the_chip(const Bench&, const Scenario&);

/// Up to which gap at a joint of the chip's angle the angle counts as right [rad, mechanical]: half
/// an electrical degree, which turns 0.9 % of the current into the other axis.
double angle_tolerance_rad(const Bench&);

}  // namespace stillrotor
