// The battery and the path to the link of a drawn drive.
#pragma once

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// Leaves most as they are.
void draw_path(Experiment&, Draw&);

}  // namespace stillrotor::reference
