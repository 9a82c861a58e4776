// Other machines than one of magnets with constant inductances, by lot.
#pragma once

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// Leaves most as they are.
void draw_machine(Experiment&, Draw&);

bool equal_windings(const plant::PermanentMagnetParameters&);

}  // namespace stillrotor::reference
