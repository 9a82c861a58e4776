// Load, coupling, road and friction of a drawn drive whose rotor turns by itself.
#pragma once

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// Leaves half of the shafts as they are. Reads the start's speed and sets it: some drives start
/// slowly or at rest, or are held at a speed that passes through zero.
void draw_shaft(Experiment&, Draw&);

}  // namespace stillrotor::reference
