// What a drive may have beside a magnet machine's windings, MOSFETs and a stiff shaft, by lot.
#pragma once

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// Each leaves most drives as they are.
void draw_kinds(Experiment&, Draw&);

}  // namespace stillrotor::reference
