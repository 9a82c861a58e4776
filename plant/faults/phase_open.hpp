// Fault: a phase conductor parts between bridge and machine.
// The arc that carries the current over the gap is over within microseconds; here it takes no time.
// Only the parted terminal sees the voltage impulse, so the flux linkages of the other two circuits
// stay as they are: i+ = i- + L^-1 n J with n . i+ = 0. The energy goes into the arc.
// Shown by: no current in the phase, the other two opposite; torque pulsates at twice the
// electrical frequency under field-oriented control, two of six steps give none under six-step.
#pragma once

#include "plant/machine/terminal_law.hpp"

namespace stillrotor::plant {

/// Current after the cut. law: the machine's at that point; leg_axis: unit vector of the parted
/// phase. RT: safe.
constexpr AlphaBeta current_after_phase_cut(AlphaBeta i, AlphaBeta axis,
                                            const TerminalLaw& law) noexcept {
  const double inverse = 1.0 / (law.l_aa_H * law.l_bb_H - law.l_ab_H * law.l_ab_H);
  const AlphaBeta response{inverse * (law.l_bb_H * axis.alpha - law.l_ab_H * axis.beta),
                           inverse * (law.l_aa_H * axis.beta - law.l_ab_H * axis.alpha)};
  const double along = axis.alpha * response.alpha + axis.beta * response.beta;
  const double impulse = (axis.alpha * i.alpha + axis.beta * i.beta) / along;
  return {i.alpha - impulse * response.alpha, i.beta - impulse * response.beta};
}

}  // namespace stillrotor::plant
