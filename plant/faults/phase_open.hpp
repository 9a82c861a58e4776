// Fault: a phase conductor parts between bridge and machine.
// The arc that carries the current over the gap is over within microseconds; here it takes no time.
// Only the parted terminal sees the voltage impulse, so the flux linkages of the other two circuits
// stay as they are: i+ = i- + L^-1 n J with n . i+ = 0. The energy goes into the arc.
// Shown by: no current in the phase, the other two opposite; torque pulsates at twice the
// electrical frequency under field-oriented control, two of six steps give none under six-step.
#pragma once

#include "plant/frames.hpp"

namespace stillrotor::plant {

/// Current after the cut. inductance_*: of the machine; leg_axis: unit vector of the parted phase.
/// RT: safe.
constexpr AlphaBeta current_after_phase_cut(AlphaBeta i, AlphaBeta axis, double inductance_d_H,
                                            double inductance_q_H, double cos_e,
                                            double sin_e) noexcept {
  const Dq n = park(axis, cos_e, sin_e);
  const Dq response{n.d / inductance_d_H, n.q / inductance_q_H};
  const double along = n.d * response.d + n.q * response.q;
  const double impulse = (axis.alpha * i.alpha + axis.beta * i.beta) / along;
  const AlphaBeta change = unpark(response, cos_e, sin_e);
  return {i.alpha - impulse * change.alpha, i.beta - impulse * change.beta};
}

}  // namespace stillrotor::plant
