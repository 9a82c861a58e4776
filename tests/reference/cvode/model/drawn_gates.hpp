// Gate edges by lot.
#pragma once

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

enum class Pattern { pulse_width, six_step, random_switches, all_off };

void draw_gates(Experiment&, Draw&, Pattern);

}  // namespace stillrotor::reference
